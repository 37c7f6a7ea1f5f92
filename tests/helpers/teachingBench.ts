import { DriverError } from '../../drivers/core/errors.ts';
import { FLAG, valueOf, type Reading } from '../../drivers/core/reading.ts';
import { readFrame } from '../../drivers/teach/read.ts';
import { teach, type TeachingGlance, type TeachResult } from '../../drivers/teach/teach.ts';
import { inventMeter, type InventedMeter } from './inventedMeter.ts';
import { PREFIX, type MeterState } from './inventedValue.ts';
import { Random } from './random.ts';

export interface BenchRow {
  readonly seed: number;
  readonly meter: InventedMeter;
  readonly glances: readonly TeachingGlance[];
  readonly result: TeachResult;
  /** Of the processor, so that other work on the machine does not count. */
  readonly milliseconds: number;
  /** Held-out frames whose figure lies within what was shown in their mode. */
  readonly inRange: { readonly right: number; readonly refused: number; readonly wrong: number };
  /** Held-out frames of any mode, figure and flag. */
  readonly anywhere: { readonly right: number; readonly refused: number; readonly wrong: number };
  readonly firstWrong: string | null;
}

const HELD_OUT = 300;

/**
 * wide: figures all over the display. car: a battery between 11 and 15 V and small currents. slip: as wide, but one
 * figure is typed with a wrong last digit.
 */
export type Habit = 'wide' | 'car' | 'slip';

/** What a technician would show first: two figures, a negative one, another unit, zero, over-range, HOLD, then more. */
function plan(meter: InventedMeter, random: Random, habit: Habit): MeterState[] {
  const modes = meter.modes.length;
  const figure = (mode: number, sign = 1): MeterState => ({
    mode,
    raw: sign * Math.floor(share(mode) * meter.top * 10 ** meter.hidden),
    overload: false,
    hold: false,
  });
  const share = (mode: number): number => {
    if (habit !== 'car') return random.between(0.04, 0.98);
    const { unit, decimals } = meter.modes[mode]!;
    const full = meter.top / 10 ** decimals;
    return unit === 'V' && full > 15 ? random.between(11, 15) / full : random.between(0.01, 0.06);
  };
  const other = modes > 1 ? 1 : 0;
  const negative = meter.canNegative ? -1 : 1;
  return [
    figure(0),
    figure(0, negative),
    figure(other),
    { ...figure(0), raw: 0 },
    figure(0),
    meter.canOverload ? { ...figure(0), overload: true } : figure(other, negative),
    figure(other, negative),
    modes > 2 ? figure(2) : figure(0, negative),
    meter.canHold ? { ...figure(0), hold: true } : figure(other),
    figure(modes > 2 ? 2 : other, negative),
  ];
}

export function benchOne(seed: number, count: number, habit: Habit = 'wide'): BenchRow {
  const meter = inventMeter(seed);
  const random = new Random(seed + 1);
  const states = plan(meter, random, habit).slice(0, count);
  const glances = states.map((s) => ({ frame: meter.encode(s), display: meter.display(s) }));
  if (habit === 'slip') {
    const wrong = glances[Math.floor(random.next() * 3)]!;
    wrong.display = wrong.display.replace(/\d(?=\D*$)/, (digit) => String((Number(digit) + 1) % 10));
  }
  const start = process.cpuUsage();
  const result = teach(glances);
  const spent = process.cpuUsage(start);
  const milliseconds = (spent.user + spent.system) / 1000;
  const inRange = { right: 0, refused: 0, wrong: 0 };
  const anywhere = { right: 0, refused: 0, wrong: 0 };
  let firstWrong: string | null = null;
  if (result.description) {
    for (let i = 0; i < HELD_OUT; i++) {
      const s = heldOut(meter, random);
      const verdict = judge(result, meter, s);
      anywhere[verdict]++;
      if (verdict === 'wrong') firstWrong ??= `${meter.display(s)} sent ${meter.value(s)}`;
    }
    for (let i = 0; i < HELD_OUT; i++) {
      const s = within(states, random);
      const verdict = judge(result, meter, s);
      inRange[verdict]++;
      if (verdict === 'wrong') firstWrong ??= `${meter.display(s)} sent ${meter.value(s)}`;
    }
  }
  return { seed, meter, glances, result, milliseconds, inRange, anywhere, firstWrong };
}

function heldOut(meter: InventedMeter, random: Random): MeterState {
  const most = meter.top * 10 ** meter.hidden;
  return {
    mode: Math.floor(random.next() * meter.modes.length),
    raw: Math.floor(random.between(meter.canNegative ? -most : 0, most)),
    overload: meter.canOverload && random.next() < 0.1,
    hold: meter.canHold && random.next() < 0.15,
  };
}

/** A figure between two that were shown in the same mode. */
function within(states: readonly MeterState[], random: Random): MeterState {
  const figures = states.filter((s) => !s.overload && !s.hold);
  const { mode } = random.pick(figures);
  const shown = figures.filter((s) => s.mode === mode).map((s) => s.raw);
  const raw = Math.round(random.between(Math.min(...shown), Math.max(...shown)));
  return { mode, raw, overload: false, hold: false };
}

function judge(result: TeachResult, meter: InventedMeter, s: MeterState): 'right' | 'refused' | 'wrong' {
  let reading: Reading | null;
  try {
    reading = readFrame(result.description!, meter.encode(s));
  } catch (error) {
    if (error instanceof DriverError) return 'refused';
    throw error;
  }
  const { unit } = meter.modes[s.mode]!;
  if (unit === 'kΩ') return reading === null ? 'right' : 'wrong';
  if (reading === null) return 'wrong';
  if (reading.quantity !== (unit.endsWith('V') ? 'voltage' : 'current')) return 'wrong';
  if (s.overload !== ((reading.flags & FLAG.overload) !== 0)) return 'wrong';
  if (s.overload) return 'right';
  if (s.hold !== ((reading.flags & FLAG.hold) !== 0)) return 'wrong';
  const value = valueOf(reading.counts, reading.scale);
  // Right is what was sent, or exactly what the display made of it.
  const { decimals } = meter.modes[s.mode]!;
  const shown = Number(`${meter.shown(s)}e${PREFIX[unit] - decimals}`);
  const near = (want: number) => Math.abs(value - want) <= 2e-7 * Math.abs(want);
  return near(meter.value(s)) || near(shown) ? 'right' : 'wrong';
}

export interface BenchSummary {
  readonly glances: number;
  readonly meters: number;
  /** Learned, every held-out frame in the range shown read, none wrong anywhere. */
  readonly learned: number;
  /** Learned, none wrong, but some frames in the range shown refused. */
  readonly learnedPartly: number;
  readonly ambiguous: number;
  readonly none: number;
  readonly wrong: readonly number[];
  readonly slowestMs: number;
}

export function summarise(rows: readonly BenchRow[]): BenchSummary {
  const learned = rows.filter((r) => r.result.state === 'learned');
  const wrong = learned.filter((r) => r.inRange.wrong + r.anywhere.wrong > 0);
  const clean = learned.filter((r) => !wrong.includes(r));
  return {
    glances: rows[0]!.glances.length,
    meters: rows.length,
    learned: clean.filter((r) => r.inRange.refused === 0).length,
    learnedPartly: clean.filter((r) => r.inRange.refused > 0).length,
    ambiguous: rows.filter((r) => r.result.state === 'ambiguous').length,
    none: rows.filter((r) => r.result.state === 'none').length,
    wrong: wrong.map((r) => r.seed),
    slowestMs: Math.max(...rows.map((r) => r.milliseconds)),
  };
}
