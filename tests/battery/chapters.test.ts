import { describe, expect, it } from 'vitest';
import { nightInputFrom } from '../../server/analysis/night.ts';
import { findNight } from '../../server/battery/findings.ts';
import { findKeptNight } from '../../server/battery/keptNight.ts';
import { NightInChapters } from '../../server/battery/nightInChapters.ts';
import { quietMoment } from '../../server/battery/quietMoment.ts';
import type { Estimate, Findings } from '../../server/messages/findings.ts';
import { sliceColumns, type SampleColumns } from '../../server/samples/columns.ts';
import { hardNight } from '../helpers/hard-nights.ts';
import { keptNight } from '../helpers/keptNight.ts';
import { makeNight, type NightSpec } from '../helpers/nights.ts';
import { Random } from '../helpers/random.ts';

const DAY = 86_400;

const BASE: NightSpec = {
  seed: 1,
  durationS: 3.4 * DAY,
  baselineA: 0.025,
  shutDowns: [
    { atS: 60, dropA: 0.4 },
    { atS: 1500, dropA: 0.2 },
  ],
  wakeUps: [
    { startS: 0.4 * DAY, durationS: 45, amplitudeA: 0.6 },
    { startS: 1.7 * DAY, durationS: 90, amplitudeA: 0.9 },
    { startS: 3.2 * DAY, durationS: 60, amplitudeA: 0.5 },
  ],
  trains: [{ widthS: 0.3, amplitudeA: 0.4, stretches: [{ startS: 200.5, endS: 2.5 * DAY, periodS: 7.3 }] }],
  current: { intervalS: 1, resolution: 1e-4, noise: 3e-4 },
  voltage: { intervalS: 2, resolution: 1e-3, noise: 1e-3 },
  battery: { restVoltageV: 12.5, sourceResistanceOhm: 0.02, surfaceChargeV: 0.2, surfaceTauS: 9000 },
};

const without = (key: 'current' | 'voltage' | 'trains'): NightSpec =>
  Object.fromEntries(Object.entries(BASE).filter(([k]) => k !== key)) as unknown as NightSpec;

/** Recordings of days, each the way it could go at a border between two chapters. */
const LONG: Readonly<Record<string, NightSpec>> = {
  'a car that sleeps, polls, stops and wakes now and then': BASE,
  'a train that stretches on the second day': {
    ...BASE,
    trains: [
      {
        widthS: 0.3,
        amplitudeA: 0.5,
        stretches: [
          { startS: 200.5, endS: 1.6 * DAY, periodS: 5.1 },
          { startS: 1.6 * DAY + 3, endS: 3.4 * DAY, periodS: 15.3 },
        ],
      },
    ],
  },
  'a wake-up at the very border': {
    ...BASE,
    wakeUps: [{ startS: DAY - 20, durationS: 50, amplitudeA: 0.7 }],
  },
  'hours awake across the border': {
    ...BASE,
    wakeUps: [{ startS: 0.96 * DAY, durationS: 0.1 * DAY, amplitudeA: 0.6 }],
  },
  'a car that falls asleep on the second day, and only then searches': {
    ...BASE,
    shutDowns: [{ atS: 1.3 * DAY, dropA: 0.5 }],
    trains: [{ ...BASE.trains![0]!, stretches: [{ startS: 1.31 * DAY, endS: 2.5 * DAY, periodS: 7.3 }] }],
  },
  'a car that never sleeps': { ...without('trains'), baselineA: 0.4, shutDowns: [], wakeUps: [] },
  'a gap across the border': {
    ...BASE,
    current: { ...BASE.current!, dropouts: [{ startS: 0.99 * DAY, endS: 1.02 * DAY }] },
  },
  'a clamp on backwards': { ...BASE, current: { ...BASE.current!, reversed: true } },
  'current alone': without('voltage'),
  'voltage alone': without('current'),
  'no polling': without('trains'),
};

function apart(a: Estimate, b: Estimate): { off: number; allowed: number } | null {
  if (a === null || b === null) {
    expect(a).toEqual(b);
    return null;
  }
  return { off: Math.abs(a.value - b.value), allowed: a.expandedUncertainty + b.expandedUncertainty };
}

function agree(chapters: Findings, whole: Findings): void {
  expect(chapters.sleep.state).toBe(whole.sleep.state);
  if (whole.sleep.timeToSleepS === null) expect(chapters.sleep.timeToSleepS).toBeNull();
  else expect(Math.abs(chapters.sleep.timeToSleepS! - whole.sleep.timeToSleepS)).toBeLessThan(2);
  expect(chapters.sleep.steps.map((s) => Math.round(s.atS / 5))).toEqual(
    whole.sleep.steps.map((s) => Math.round(s.atS / 5)),
  );
  expect(chapters.wakeUps).toHaveLength(whole.wakeUps.length);
  whole.wakeUps.forEach((w, i) => {
    expect(Math.abs(chapters.wakeUps[i]!.startS - w.startS)).toBeLessThan(3);
    expect(chapters.wakeUps[i]!.chargeC / w.chargeC).toBeCloseTo(1, 1);
  });
  expect(chapters.polling.state).toBe(whole.polling.state);
  expect(chapters.polling.regimes).toHaveLength(whole.polling.regimes.length);
  whole.polling.regimes.forEach((r, i) => {
    const c = chapters.polling.regimes[i]!;
    expect(Math.abs(c.pulses - r.pulses)).toBeLessThan(2 + 0.001 * r.pulses);
    // Dips that only folding shows have vaguer ends.
    const within = whole.polling.seenIn === 'voltage' ? 60 : 20;
    expect(Math.abs(c.startS - r.startS)).toBeLessThan(within);
    expect(Math.abs(c.endS - r.endS)).toBeLessThan(within);
    for (const key of ['periodS', 'chargePerPulseC', 'averageA'] as const) {
      const d = apart(c[key], r[key]);
      if (d !== null) expect(d.off, key).toBeLessThanOrEqual(d.allowed);
    }
  });
  const figures: [string, Estimate, Estimate][] = [
    ['baseline', chapters.sleep.settledBaselineA, whole.sleep.settledBaselineA],
    ['average', chapters.draw.averageAfterSleepA, whole.draw.averageAfterSleepA],
    ['last hour', chapters.draw.averageLastHourA, whole.draw.averageLastHourA],
    ['charge', chapters.draw.totalChargeC, whole.draw.totalChargeC],
    ['rest', chapters.battery.restVoltageV, whole.battery.restVoltageV],
    ['resistance', chapters.battery.sourceResistanceOhm, whole.battery.sourceResistanceOhm],
  ];
  for (const [name, a, b] of figures) {
    const d = apart(a, b);
    if (d !== null) expect(d.off, name).toBeLessThanOrEqual(d.allowed);
  }
  for (const key of ['baselineA', 'pollingA', 'wakeUpsA'] as const) {
    const [a, b] = [chapters.draw.budget[key], whole.draw.budget[key]];
    if (b === null) expect(a).toBeNull();
    else expect(Math.abs(a! - b), key).toBeLessThan(0.0002 + 0.02 * Math.abs(b));
  }
  expect(chapters.recording.reversed).toBe(whole.recording.reversed);
  expect(chapters.recording.channels.map((c) => [c.samples, c.gaps.length])).toEqual(
    whole.recording.channels.map((c) => [c.samples, c.gaps.length]),
  );
  expect(chapters.flags.map((f) => f.code)).toEqual(whole.flags.map((f) => f.code));
}

describe('a recording of days, chapter by chapter, says what it says as a whole', () => {
  it.each(Object.entries(LONG))('%s', (_name, spec) => {
    const kept = keptNight(makeNight(spec).input);
    agree(findKeptNight(kept), findNight(nightInputFrom(kept)));
  });

  it('and the truth', () => {
    const night = makeNight(BASE);
    const f = findKeptNight(keptNight(night.input));
    const { truth } = night;
    expect(Math.abs(f.sleep.timeToSleepS! - truth.timeToSleepS)).toBeLessThan(5);
    expect(Math.abs(f.draw.averageAfterSleepA!.value / truth.averageAfterSleepA - 1)).toBeLessThan(0.005);
    expect(Math.abs(f.draw.totalChargeC!.value / truth.totalChargeC - 1)).toBeLessThan(0.005);
    expect(Math.abs(f.draw.budget.pollingA! / truth.pollingA - 1)).toBeLessThan(0.02);
    const [train] = truth.trains[0]!;
    const [seen] = f.polling.regimes;
    expect(Math.abs(seen!.periodS!.value / train!.periodS - 1)).toBeLessThan(1e-5);
    expect(Math.abs(seen!.pulses / train!.pulses - 1)).toBeLessThan(0.01);
  });
});

describe('a month of one reading in two seconds', () => {
  it.each([3, 7, 8])('no pulse that noise has made longer is taken for a wake-up (%i)', (seed) => {
    const spec = hardNight('month', seed);
    const { wakeUps } = findKeptNight(keptNight(makeNight(spec).input));
    expect(wakeUps.map((w) => Math.round(w.startS))).toEqual(spec.wakeUps!.map((w) => Math.round(w.startS)));
  });
});

describe('a night of one chapter', () => {
  it('is analysed as a whole', () => {
    const kept = keptNight(makeNight({ ...BASE, durationS: 1.2 * DAY }).input);
    expect(findKeptNight(kept)).toEqual(findNight(nightInputFrom(kept)));
  });
});

describe('a recording that is still running', () => {
  const kept = keptNight(makeNight(BASE).input);
  const columns = kept.channels.map((c) => c.columns as SampleColumns);
  const gaps = kept.channels.map((c) => c.gaps);

  it('gives in the end what it gives at once, whenever it was asked in between', () => {
    const night = new NightInChapters(kept, {});
    const random = new Random(5);
    const taken = columns.map(() => 0);
    for (let atS = 0; atS < BASE.durationS; atS += random.between(600, 40_000)) {
      columns.forEach((c, k) => {
        let to = taken[k]!;
        while (to < c.length && c.t[to]! < 1000 * atS) to++;
        night.add(k, sliceColumns(c, taken[k]!, to));
        taken[k] = to;
      });
      const sofar = night.findings({ durationMs: 1000 * atS, gaps, events: [] });
      if (atS > 7200) expect(sofar.sleep.state).toBe('slept');
    }
    columns.forEach((c, k) => night.add(k, sliceColumns(c, taken[k]!, c.length)));
    expect(night.findings({ durationMs: kept.durationMs, gaps, events: [] })).toEqual(findKeptNight(kept));
  });

  it('keeps no more readings than a chapter and what follows its border', () => {
    const night = new NightInChapters(kept, {});
    let most = 0;
    for (let from = 0; from < columns[0]!.length; from += 5000) {
      columns.forEach((c, k) => night.add(k, sliceColumns(c, from / (k + 1), (from + 5000) / (k + 1))));
      night.advance((from + 5000) * 1, { durationMs: 0, gaps, events: [] });
      most = Math.max(most, night.readingsKept);
    }
    expect(most).toBeLessThan(1.3 * (DAY + DAY / 2));
    expect(most).toBeGreaterThan(DAY);
  });
});

describe('the moment at which a chapter ends', () => {
  const t = Float64Array.from({ length: 6000 }, (_, i) => i / 10);
  it('lies between two quiet readings, away from wake-ups and pulses', () => {
    const y = t.map((s) => (s < 300 ? 0.6 : s % 0.7 < 0.1 ? 0.2 : 0.025));
    const at = quietMoment({ t, y })!;
    expect(at).toBeGreaterThan(300);
    const k = t.findIndex((s) => s > at);
    expect([y[k - 1], y[k]]).toEqual([0.025, 0.025]);
  });

  it('is not known without readings', () => {
    expect(quietMoment({ t: new Float64Array(0), y: new Float64Array(0) })).toBeNull();
    expect(quietMoment({ t: t.slice(0, 3), y: t.slice(0, 3) })).toBeNull();
  });
});
