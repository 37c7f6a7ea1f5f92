import { AWAKE_A, LONGEST_HOLD_S } from '../analysis/sleep.ts';
import { durationText, estimateText, figureText } from '../messages/figures.ts';
import type { Rule } from './flagRule.ts';
import { regularity } from './regularity.ts';

/** Whether it sleeps, stays asleep, and what that costs. */

/** Published practice for a normal key-off draw runs from 5 to 85 mA; 50 mA is the commonest limit. */
export const DEFAULT_DRAW_LIMIT_A = 0.05;

export const neverSlept: Rule = (f) =>
  f.sleep.state !== 'never-slept'
    ? []
    : [
        {
          code: 'never-slept',
          severity: 'act',
          summary: 'The car never went to sleep.',
          because: [
            `In ${durationText(f.recording.durationS)} the draw never settled below ${figureText(AWAKE_A, 'current')}; published hold times end within ${durationText(LONGEST_HOLD_S)}.`,
          ],
          next: 'Check that the hood, doors and fob were as they should be; then find what holds the bus awake, fuse by fuse.',
        },
      ];

export const keepsWaking: Rule = (f) => {
  const n = f.wakeUps.length;
  if (n < 3) return [];
  const rhythm = regularity(f.wakeUps.map((w) => w.startS));
  const share = f.draw.budget.wakeUpsA;
  return [
    {
      code: 'keeps-waking',
      severity: 'act',
      summary: `Something keeps waking the car: ${n} times.`,
      because: [
        rhythm.regular
          ? `It wakes every ${durationText(rhythm.intervalS)}, regularly: a timer or one module's retry.`
          : `It wakes about every ${durationText(rhythm.intervalS)}, irregularly: look for an outside cause, such as a switch, a fob or radio traffic.`,
        ...(share === null ? [] : [`The wake-ups cost ${figureText(share, 'current')} on average.`]),
      ],
      next: 'Unplug the suspected module, or pull its fuse, and see whether the waking stops.',
    },
  ];
};

export const drawLimit: Rule = (f, facts) => {
  const average = f.draw.averageAfterSleepA;
  if (average === null || f.recording.reversed) return [];
  const limit = figureText(facts.drawLimitA, 'current');
  const from =
    facts.drawLimitFrom === 'set'
      ? 'as set'
      : 'the default; published practice runs from 5 to 85 mA, the maker of the car has the last word';
  const over = average.value - facts.drawLimitA;
  const because = [
    `Average after sleep ${estimateText(average, 'current')!}; the limit is ${limit} (${from}).`,
  ];
  const { baselineA, pollingA, wakeUpsA } = f.draw.budget;
  if (baselineA !== null && pollingA !== null && wakeUpsA !== null)
    because.push(
      `${figureText(baselineA, 'current')} steady, ${figureText(pollingA, 'current')} polling, ${figureText(wakeUpsA, 'current')} wake-ups.`,
    );
  if (over > average.expandedUncertainty)
    return [
      {
        code: 'draw-above-limit',
        severity: 'act',
        summary: 'The key-off draw is above the limit.',
        because,
        next: 'Find the circuit: pull one fuse at a time with the car asleep and watch for the step.',
      },
    ];
  if (over > -average.expandedUncertainty)
    return [
      {
        code: 'draw-near-limit',
        severity: 'watch',
        summary: 'The key-off draw cannot be told apart from the limit with this meter.',
        because,
        next: 'Use a meter with a finer range, or a longer recording, before deciding.',
      },
    ];
  return [];
};
