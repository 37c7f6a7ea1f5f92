import type { Estimate } from '../messages/findings.ts';
import { estimateText, figureText } from '../messages/figures.ts';
import type { FuseLine, FuseWalk, KeptFuseWalk } from '../messages/fuses.ts';
import { fuseCurrent, type FuseKind } from './fuse.ts';

/** The fuse walk: circuits, their currents, and what they explain of the whole draw. */

/** The current of a fuse and what its millivolts prove; null where no figure of such a fuse is known. */
export function dropFigure(
  kind: FuseKind,
  rating: number,
  millivolts: number,
  digitMv: number,
): { readonly currentA: Estimate; readonly says: string } | null {
  // Which way round the probes were says nothing about the current.
  const found = fuseCurrent(kind, rating, Math.abs(millivolts), digitMv);
  if (found === null) return null;
  const { value, expandedUncertainty: u } = found.currentA;
  const digit = fuseCurrent(kind, rating, digitMv, digitMv)!.currentA.value;
  const says =
    value <= u
      ? `Not told apart from none: this circuit draws less than ${figureText(value + u, 'current')}. One digit of the meter is ${figureText(digit, 'current')} here.`
      : `By ${found.source}.`;
  return { currentA: found.currentA, says };
}

/** Sums the walk up against the clamp. */
export function sumFuseWalk(kept: KeptFuseWalk): FuseWalk {
  const counted = countedLines(kept.lines);
  const sumA = sumOf(counted);
  const { clampA } = kept;
  const unexplainedA =
    sumA === null || clampA === null
      ? null
      : {
          value: clampA.value - sumA.value,
          expandedUncertainty: Math.hypot(clampA.expandedUncertainty, sumA.expandedUncertainty),
        };
  return { ...kept, sumA, unexplainedA, says: words(kept, counted, sumA, unexplainedA) };
}

/** One line a place: of several the one that is known best. */
function countedLines(lines: readonly FuseLine[]): FuseLine[] {
  const best = new Map<string, FuseLine>();
  for (const line of lines) {
    if (line.currentA === null || line.currentA.value < -line.currentA.expandedUncertainty) continue;
    const place = line.place.toLowerCase();
    const before = best.get(place);
    if (before === undefined || line.currentA.expandedUncertainty < before.currentA!.expandedUncertainty)
      best.set(place, line);
  }
  return [...best.values()];
}

function sumOf(lines: readonly FuseLine[]): Estimate {
  if (lines.length === 0) return null;
  return {
    value: lines.reduce((sum, l) => sum + l.currentA!.value, 0),
    expandedUncertainty: Math.hypot(...lines.map((l) => l.currentA!.expandedUncertainty)),
  };
}

function words(kept: KeptFuseWalk, counted: readonly FuseLine[], sum: Estimate, rest: Estimate): string[] {
  if (kept.lines.length === 0) return ['No fuse is measured yet.'];
  const out: string[] = [];
  const clear = counted
    .filter((l) => l.currentA!.value > l.currentA!.expandedUncertainty)
    .sort((a, b) => b.currentA!.value - a.currentA!.value);
  const [first, second] = clear;
  if (first === undefined) out.push('No circuit stands out of what the readings can show.');
  else {
    const apart =
      second === undefined ||
      first.currentA!.value - second.currentA!.value >
        Math.hypot(first.currentA!.expandedUncertainty, second.currentA!.expandedUncertainty);
    out.push(
      apart
        ? `${first.place} draws the most: ${estimateText(first.currentA, 'current')!}.`
        : `${first.place} and ${second.place} draw the most, and cannot be told apart.`,
    );
  }
  if (rest !== null && sum !== null && kept.clampA !== null) {
    const [value, u] = [rest.value, rest.expandedUncertainty];
    if (value > u)
      out.push(
        `${estimateText(rest, 'current')!} of the ${estimateText(kept.clampA, 'current')!} by the clamp runs through circuits that are not in the list.`,
      );
    else if (value < -u)
      out.push(
        'The fuses sum to more than the clamp shows: one of them feeds others in the list, or the car was awake at some of them.',
      );
    else
      out.push(
        `The fuses and the clamp agree; less than ${figureText(Math.max(0, value) + u, 'current')} could be missing.`,
      );
  } else if (kept.clampA === null)
    out.push('Take the whole draw by the clamp to see what the list leaves out.');
  if (counted.length < new Set(kept.lines.map((l) => l.place.toLowerCase())).size)
    out.push('Lines without a figure are not in the sum.');
  return out;
}
