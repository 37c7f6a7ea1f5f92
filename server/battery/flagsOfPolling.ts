import type { Flag } from '../messages/findings.ts';
import { durationText, estimateText } from '../messages/figures.ts';
import type { Rule } from './flagRule.ts';

/** What the search for a fob does by design, and what it should have done. */

export const pollingFlags: Rule = (f) => {
  const p = f.polling;
  const out: Flag[] = [];
  const timed = p.regimes.filter((r) => r.periodS !== null);
  const stretched = timed.some((r, i) =>
    timed
      .slice(i + 1)
      .some((s) => s.startS >= r.endS - r.periodS!.value && s.periodS!.value > 1.2 * r.periodS!.value),
  );
  if (p.state === 'stopped')
    out.push({
      code: 'polling-stopped-normal',
      severity: 'info',
      summary: 'The polling stopped by itself, as many cars are designed to do.',
      because: [
        `It ended ${durationText(p.stoppedAtS ?? 0)} after the start; published designs stop after days without a fob, or after minutes with one near.`,
      ],
      next: 'Passive entry may need a press of the fob or a pull at the lock button before it works again; that is no battery fault.',
    });
  if (stretched)
    out.push({
      code: 'polling-stretched-normal',
      severity: 'info',
      summary: 'The polling slowed down by itself, as it is designed to.',
      because: timed.map(
        (r) => `Every ${estimateText(r.periodS, 'period')!} from ${durationText(r.startS)} on.`,
      ),
      next: null,
    });
  const fast = timed.find((r) => r.periodS!.value < 1 && r.endS - r.startS > FIVE_DAYS_S);
  if (fast !== undefined && !stretched)
    out.push({
      code: 'polling-does-not-stretch',
      severity: 'watch',
      summary: 'The polling never slowed down, though nobody should have been near.',
      because: [
        `Still every ${estimateText(fast.periodS, 'period')!} after ${durationText(fast.endS - fast.startS)}; published designs slow down after five days without a fob.`,
      ],
      next: 'Make sure every fob is well away, then look for a fob in the car or radio traffic that answers for one.',
    });
  return out;
};

const FIVE_DAYS_S = 5.2 * 86_400;

/** Published designs give the fast search up for good once a fob stays within reach for about ten minutes. */
export const fobInRange: Rule = (f) => {
  const p = f.polling;
  if (p.state !== 'stopped' || p.stoppedAtS === null || p.regimes.length === 0) return [];
  const polled = p.stoppedAtS - p.regimes[0]!.startS;
  if (polled < 8 * 60 || polled > 13 * 60) return [];
  return [
    {
      code: 'fob-probably-in-range',
      severity: 'watch',
      summary: 'A fob was probably in range.',
      because: [
        `The polling gave up after ${durationText(polled)}; published designs do so after ten minutes with a fob near.`,
      ],
      next: 'Take every fob at least 3 m (10 ft) away and repeat the test.',
    },
  ];
};
