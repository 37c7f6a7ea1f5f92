import type { Alignment } from '../analysis/alignment.ts';
import { longestPause, mergeSpans, type Span } from '../analysis/condition.ts';
import type { Timing } from '../analysis/trains.ts';
import type { ChannelChapter, Chapter, VoltageChapter } from './chapter.ts';
import { isAsleep, joinCurrent } from './joinCurrent.ts';
import { joinTrains } from './joinTrains.ts';
import type { Polarity } from './polarity.ts';
import { joinResistance } from './resistance.ts';
import type { QuietVoltage } from './rest.ts';

/** Two chapters that follow each other as one; `a` may be what many have been joined to. */
export function joinChapters(a: Chapter, b: Chapter): Chapter {
  return {
    fromS: a.fromS,
    toS: b.toS,
    channels: a.channels.map((c, i) => joinChannel(c, b.channels[i]!)),
    clockSteps: [...a.clockSteps, ...b.clockSteps],
    sign: joinSigns(a, b),
    current:
      a.current === null || b.current === null
        ? (a.current ?? b.current)
        : joinCurrent(
            { current: a.current, fromS: a.fromS, toS: a.toS },
            { current: b.current, fromS: b.fromS, toS: b.toS },
            joinTiming(a.current, b.current),
          ),
    voltage:
      a.voltage === null || b.voltage === null
        ? (a.voltage ?? b.voltage)
        : joinVoltage(a.voltage, b.voltage, joinQuiet(a, b)),
  };
}

function joinChannel(a: ChannelChapter, b: ChannelChapter): ChannelChapter {
  const [x, y] = [a.facts, b.facts];
  const larger = x.samples >= y.samples ? x : y;
  return {
    firstS: a.firstS ?? b.firstS,
    lastS: b.lastS ?? a.lastS,
    facts: {
      ...x,
      samples: x.samples + y.samples,
      medianIntervalS: larger.medianIntervalS ?? x.medianIntervalS ?? y.medianIntervalS,
      resolution: least(x.resolution, y.resolution),
      noise:
        x.noise === null || y.noise === null
          ? (x.noise ?? y.noise)
          : pooled(x.noise, x.samples, y.noise, y.samples),
      gaps: mergeSpans([...x.gaps, ...y.gaps, ...pauseAt(a.lastS, b.firstS, larger.medianIntervalS)]),
    },
  };
}

function least(a: number | null, b: number | null): number | null {
  return a === null || b === null ? (a ?? b) : Math.min(a, b);
}

function pooled(a: number, n: number, b: number, m: number): number {
  return Math.sqrt((n * a * a + m * b * b) / (n + m));
}

/** The border may lie in a gap. */
function pauseAt(lastS: number | null, firstS: number | null, intervalS: number | null): Span[] {
  if (lastS === null || firstS === null || intervalS === null) return [];
  return firstS - lastS > longestPause(intervalS) ? [{ startS: lastS, endS: firstS }] : [];
}

function joinTiming(
  a: { readonly timing: Timing; readonly lastS: number },
  b: { readonly timing: Timing; readonly firstS: number },
): Timing {
  const pause = pauseAt(a.lastS, b.firstS, a.timing.readingS);
  return {
    ...a.timing,
    toleranceS: Math.max(a.timing.toleranceS, b.timing.toleranceS),
    gaps: mergeSpans([...a.timing.gaps, ...b.timing.gaps, ...pause]),
  };
}

function joinSigns(a: Chapter, b: Chapter): Polarity {
  const share = (a.toS - a.fromS) / Math.max(b.toS - a.fromS, 1e-9);
  const { chargingA: most } = a.sign;
  return {
    reversed: a.sign.reversed,
    charging: [...a.sign.charging, ...b.sign.charging],
    chargingShare: share * a.sign.chargingShare + (1 - share) * b.sign.chargingShare,
    chargingA: most === null ? b.sign.chargingA : Math.max(most, b.sign.chargingA ?? most),
  };
}

function joinVoltage(a: VoltageChapter, b: VoltageChapter, quiet: QuietVoltage): VoltageChapter {
  const timing = joinTiming(a, b);
  const [n, m] = [a.quiet.readings + 1, b.quiet.readings + 1];
  return {
    timing,
    firstS: a.firstS,
    lastS: b.lastS,
    meter: {
      ...a.meter,
      resolution: least(a.meter.resolution, b.meter.resolution),
      noise: pooled(a.meter.noise, n, b.meter.noise, m),
    },
    dips: a.dips === null || b.dips === null ? null : joinTrains(a.dips, b.dips, timing),
    alignment: joinAlignment(a.alignment, b.alignment),
    resistance: joinResistance(a.resistance, b.resistance),
    quiet,
  };
}

/** The battery rests only while the car sleeps. */
function joinQuiet(a: Chapter, b: Chapter): QuietVoltage {
  const [x, y] = [a.voltage!.quiet, b.voltage!.quiet];
  const [sleptBefore, sleepsAfter] = [a, b].map((c) => c.current === null || isAsleep(c.current));
  if (sleepsAfter === true && sleptBefore === false) return y;
  if (sleepsAfter === false && sleptBefore === true) return x;
  return {
    t: [...x.t, ...y.t],
    v: [...x.v, ...y.v],
    amps: x.amps === null || y.amps === null ? null : [...x.amps, ...y.amps],
    readings: x.readings + y.readings,
  };
}

/** One delay for all: where the chapters differ by more than they say, they are less sure by as much. */
function joinAlignment(a: Alignment | null, b: Alignment | null): Alignment | null {
  if (a === null || b === null) return a ?? b;
  const [wa, wb] = [1 / a.standardU ** 2, 1 / b.standardU ** 2];
  const apart = Math.abs(a.lagS - b.lagS) / Math.hypot(a.standardU, b.standardU);
  return {
    lagS: (wa * a.lagS + wb * b.lagS) / (wa + wb),
    standardU: Math.max(1, apart) / Math.sqrt(wa + wb),
    steps: a.steps + b.steps,
  };
}
