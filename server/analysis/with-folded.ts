import { mergeSpans, overlapOf, type Span } from './condition.ts';
import { joinedRegimes } from './joined-regimes.ts';
import type { MeasuredRegime } from './regimes.ts';
import { commonS, sameTrain, type Beat } from './stretches.ts';
import type { Timing } from './trains.ts';

/** Trains that single pulses showed and trains that folding showed, as one list in which each train stands once. */

/** A train that kept its beat for less than this of what folding covers is a scrap of it. */
const SCRAP = 0.1;
/** Single pulses over this part of a folded train are all of it. */
const NEARLY_ALL = 0.8;

/** Single pulses that hold less of what folding finds are not whole. */
const LEAST_SHARE = 0.7;

/** Folding has the last word where single pulses did not settle it. */
export function withFolded(
  seen: readonly MeasuredRegime[],
  isSure: (r: MeasuredRegime) => boolean,
  folded: readonly MeasuredRegime[],
  timing: Timing,
): MeasuredRegime[] {
  const spans = mergeSpans(folded.map(spanOf));
  const covered = overlapOf(spans, -Infinity, Infinity);
  let out = seen.filter((r) => {
    const { startS, endS } = spanOf(r);
    const inside = overlapOf(spans, startS, endS) >= 0.5 * (endS - startS);
    return !inside || (isSure(r) && endS - startS > SCRAP * covered);
  });
  for (const f of folded.reduce<readonly MeasuredRegime[]>(joinedWithLast(timing), [])) {
    const same = out.filter((r) => isSamePeriod(r.stretch, f.stretch) && common(r, f) > 0);
    // Pulses that hardly stand out are seen in parts; those that hold far more than the folded ones are others.
    const parts = same.filter((r) => r.averageA < LEAST_SHARE * f.averageA);
    const own = same.filter((r) => !parts.includes(r) && LEAST_SHARE * r.averageA < f.averageA);
    out = out.filter((r) => !parts.includes(r));
    if (own.some((r) => common(r, f) > NEARLY_ALL * lengthOf(f))) continue;
    // A meter that misses pulses in turn sees trains at multiples of the period besides.
    const rest = out.filter((r) => !own.includes(r) && !isPartOf(r, f, timing));
    out = [...rest, own.length === 0 ? f : across(apart(own), f)];
  }
  return out.sort((a, b) => a.stretch.firstS - b.stretch.firstS);
}

const spanOf = ({ stretch }: MeasuredRegime): Span => ({ startS: stretch.firstS, endS: stretch.lastS });
const lengthOf = ({ stretch }: MeasuredRegime): number => stretch.lastS - stretch.firstS;

function common(a: MeasuredRegime, b: MeasuredRegime): number {
  return commonS(a.stretch, b.stretch);
}

const SAME_PERIOD = 1e-3;

function isSamePeriod(a: Beat, b: Beat): boolean {
  return Math.abs(a.periodS / b.periodS - 1) < SAME_PERIOD;
}

/** Relative: how well a multiple of a folded train's period agrees with it. */
const SAME_MULTIPLE = 2e-4;

/** Whether its pulses are some of those that were folded: every second one, or third, within the same time. */
function isPartOf(r: MeasuredRegime, folded: MeasuredRegime, timing: Timing): boolean {
  const { firstS, periodS } = folded.stretch;
  const multiple = Math.round(r.stretch.periodS / periodS);
  if (multiple < 2 || Math.abs(r.stretch.periodS / multiple / periodS - 1) > SAME_MULTIPLE) return false;
  const beats = (r.stretch.firstS - firstS) / periodS;
  const offS = Math.abs(beats - Math.round(beats)) * periodS;
  return offS <= 2 * timing.toleranceS && common(r, folded) > NEARLY_ALL * lengthOf(r);
}

/** Folding may find a train in pieces. */
function joinedWithLast(timing: Timing) {
  return (out: readonly MeasuredRegime[], next: MeasuredRegime): readonly MeasuredRegime[] => {
    const last = out.at(-1);
    return last !== undefined &&
      last.resolved &&
      next.resolved &&
      sameTrain(last.stretch, next.stretch, timing)
      ? [...out.slice(0, -1), joinedRegimes(last, next)]
      : [...out, next];
  };
}

/** One after the other: of two at one time the one that draws more, because the other is made of parts of its pulses. */
function apart(own: readonly MeasuredRegime[]): MeasuredRegime[] {
  const out: MeasuredRegime[] = [];
  const charge = (r: MeasuredRegime): number => r.averageA * lengthOf(r);
  for (const r of [...own].sort((a, b) => charge(b) - charge(a)))
    if (out.every((other) => common(r, other) < SCRAP * lengthOf(r))) out.push(r);
  return out.sort((a, b) => a.stretch.firstS - b.stretch.firstS);
}

/** A folded train, and the parts of it that single pulses showed: its length by both, what it draws by its pulses. */
function across(own: readonly MeasuredRegime[], folded: MeasuredRegime): MeasuredRegime {
  const seen = own.reduce(joinedRegimes);
  const { stretch, regime } = [seen, folded]
    .sort((a, b) => a.stretch.firstS - b.stretch.firstS)
    .reduce(joinedRegimes);
  const { startS, endS, periodS, pulses } = regime;
  return {
    ...seen,
    stretch,
    // Not all of its pulses were seen singly.
    members: new Int32Array(0),
    regime: { ...seen.regime, startS, endS, periodS, pulses },
  };
}
