import { places } from './sampling.ts';
import { quantile } from './statistics.ts';

/**
 * When readings were taken, from when they arrived. A meter converts at an even pace; its radio delivers late,
 * in bunches, and loses some. Readings keep their order, none arrives before it was taken and none is kept back
 * longer than usual: the first that would be shows that one before it was lost. Returns times on the meter's own
 * even clock, which is followed slowly so that its drift does not add up; a long pause stays one.
 */
export function evenTimes(t: Float64Array, intervalS: number): Float64Array {
  const n = t.length;
  if (n < 4 * RUN) return t;
  const spread = usualSpread(t, intervalS);
  const longest = spread + MARGIN * intervalS;
  const drift = phaseDrift(t, intervalS);
  const anchorS = anchorAt(t, intervalS, spread);
  const startS = (i: number): number => anchorS + intervalS * drift(i);
  const out = latestSlots(t, startS, intervalS);
  let slot = -Infinity;
  for (let i = 0; i < n; i++) {
    const start = startS(i);
    slot = Math.min(out[i]!, Math.max(slot + 1, Math.ceil((t[i]! - start - longest) / intervalS)));
    out[i] = start + slot * intervalS;
    if (i > 0 && out[i]! <= out[i - 1]!) out[i] = out[i - 1]! + 1e-6 * intervalS;
  }
  return out;
}

/** The latest conversion that each reading may be of: taken before it arrived, and before the next one was taken. */
function latestSlots(t: Float64Array, startS: (i: number) => number, intervalS: number): Float64Array {
  const out = new Float64Array(t.length);
  let latest = Infinity;
  for (let i = t.length - 1; i >= 0; i--) {
    latest = Math.min(latest - 1, Math.floor((t[i]! - startS(i)) / intervalS + EARLY));
    out[i] = latest;
  }
  return out;
}

/** How far, in intervals, the meter's clock has moved against an even one by reading `i`; 0 at the start. */
function phaseDrift(t: Float64Array, intervalS: number): (i: number) => number {
  const turns: number[] = [];
  for (let from = 0; from + BLOCK <= t.length; from += BLOCK) {
    let re = 0;
    let im = 0;
    for (let i = from; i < from + BLOCK; i++) {
      const turn = (2 * Math.PI * (t[i]! - t[0]!)) / intervalS;
      re += Math.cos(turn);
      im += Math.sin(turn);
    }
    const phase = Math.atan2(im, re) / (2 * Math.PI);
    const last = turns.at(-1) ?? phase;
    turns.push(last + (phase - last - Math.round(phase - last)));
  }
  return (i) => {
    const at = Math.min(turns.length - 1, Math.max(0, i / BLOCK - 0.5));
    const k = Math.min(Math.floor(at), turns.length - 2);
    if (turns.length < 2) return 0;
    return turns[k]! + (at - k) * (turns[k + 1]! - turns[k]!) - turns[0]!;
  };
}

const RUN = 16;
const LOOKS = 1000;
/** Of an interval: how much longer than usual a reading may be kept back before one counts as lost. */
const MARGIN = 0.4;
/** Of an interval: what the first run may miss of how early a reading can arrive. */
const EARLY = 0.5;
/** Readings whose arrivals together tell the phase of the clock. */
const BLOCK = 8192;

/** How unevenly the readings of a run that lost none arrive: latest minus earliest against an even clock. */
function usualSpread(t: Float64Array, intervalS: number): number {
  const spreads = Float64Array.from(places(t.length - RUN + 1, LOOKS), (i) => {
    const { least, most } = latenessOf(t, i, intervalS);
    return most - least;
  });
  return quantile(spreads, 0.35);
}

function latenessOf(t: Float64Array, from: number, intervalS: number): { least: number; most: number } {
  let least = Infinity;
  let most = -Infinity;
  for (let i = from; i < Math.min(t.length, from + RUN); i++) {
    const late = t[i]! - (i - from) * intervalS;
    least = Math.min(least, late);
    most = Math.max(most, late);
  }
  return { least, most };
}

/** Where an even clock stands against the first readings: by the first run that lost none. */
function anchorAt(t: Float64Array, intervalS: number, spread: number): number {
  for (let i = 0; i < Math.min(t.length - RUN, LOOKS); i++) {
    const { least, most } = latenessOf(t, i, intervalS);
    if (most - least <= spread + (MARGIN / 2) * intervalS) return least - (MARGIN / 2) * intervalS;
  }
  return t[0]! - spread / 2;
}
