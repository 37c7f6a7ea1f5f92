import { lowerBound } from './condition.ts';
import { median, valuesAt } from './statistics.ts';
import type { PulseTimes, Stretch, Timing } from './trains.ts';

/**
 * Trains that only echo others. Where pulses of stronger trains merge, or are cut in two by lost readings, what
 * is left over may keep a rhythm of its own, but it adds no charge: around its pulses there is no more than the
 * stronger trains' beats account for.
 */
export function withoutEchoes(pulses: PulseTimes, found: readonly Stretch[], timing: Timing): Stretch[] {
  const before = runningCharge(pulses.charge);
  const kept: Train[] = [];
  const trains = found.map((stretch) => ({
    stretch,
    usual: median(valuesAt(pulses.charge, stretch.members)),
  }));
  for (const train of trains.sort((a, b) => strength(b) - strength(a))) {
    const others = kept.filter((k) => overlap(k.stretch, train.stretch));
    if (others.length === 0 || addsCharge(pulses, before, train, others, timing)) kept.push(train);
  }
  return found.filter((s) => kept.some((k) => k.stretch === s));
}

interface Train {
  readonly stretch: Stretch;
  readonly usual: number;
}

/** Its pulses must bring this much of their charge on top of what the others account for. */
const OWN_SHARE = 0.5;
const LOOKS = 400;

const strength = (t: Train): number => t.usual * t.stretch.members.length;

function overlap(a: Stretch, b: Stretch): boolean {
  return a.firstS < b.lastS && b.firstS < a.lastS;
}

function addsCharge(
  pulses: PulseTimes,
  before: Float64Array,
  train: Train,
  others: readonly Train[],
  timing: Timing,
): boolean {
  const { members } = train.stretch;
  const shortest = Math.min(...others.map((o) => o.stretch.periodS));
  const step = Math.max(1, Math.floor(members.length / LOOKS));
  const balance: number[] = [];
  for (let k = 0; k < members.length; k += step) {
    const i = members[k]!;
    const reach = 1.5 * shortest + 2 * pulses.blur[i]! + timing.toleranceS;
    const fromS = pulses.at[i]! - reach;
    const toS = pulses.at[i]! + reach;
    const seen = before[lowerBound(pulses.at, toS)]! - before[lowerBound(pulses.at, fromS)]!;
    balance.push(others.reduce((left, o) => left - o.usual * beatsIn(pulses, o.stretch, fromS, toS), seen));
  }
  return median(balance) > OWN_SHARE * train.usual;
}

/** Beats of a train in [fromS, toS), counted from its observed pulse nearest before. */
function beatsIn(pulses: PulseTimes, s: Stretch, fromS: number, toS: number): number {
  const { members, periodS } = s;
  let low = 0;
  let high = members.length - 1;
  while (low < high) {
    const middle = (low + high + 1) >> 1;
    if (pulses.at[members[middle]!]! <= fromS) low = middle;
    else high = middle - 1;
  }
  const anchor = pulses.at[members[low]!]!;
  const first = Math.max(fromS, s.firstS - periodS / 2);
  const end = Math.min(toS, s.lastS + periodS / 2);
  return Math.max(0, Math.ceil((end - anchor) / periodS) - Math.ceil((first - anchor) / periodS));
}

function runningCharge(charge: Float64Array): Float64Array {
  const out = new Float64Array(charge.length + 1);
  for (let i = 0; i < charge.length; i++) out[i + 1] = out[i]! + charge[i]!;
  return out;
}
