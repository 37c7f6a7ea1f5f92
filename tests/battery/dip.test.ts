import { describe, expect, test } from 'vitest';
import { measureDip, type DipChannel } from '../../server/battery/dip.ts';
import { dipSchema } from '../../server/messages/attempts.ts';
import { seeded } from '../helpers/seeded.ts';

interface Truth {
  readonly everyS: number;
  readonly restV?: number;
  readonly ohm?: number;
  /** The load of the try. */
  readonly amps?: number;
  readonly fromS?: number;
  readonly forS?: number;
  readonly noiseV?: number;
  readonly noiseA?: number;
  readonly digitV?: number;
  readonly lateS?: number;
}

/** What two averaging meters see of a battery with one rectangular load. */
function bench(truth: Truth): { voltage: DipChannel; current: DipChannel } {
  const { everyS, restV = 12.4, ohm = 0.025, amps = 12, fromS = 20, forS = 0.6 } = truth;
  const random = seeded(5);
  const noise = (size = 0): number =>
    size * Math.sqrt(-2 * Math.log(1 - random())) * Math.cos(2 * Math.PI * random());
  const share = (end: number): number =>
    Math.max(0, Math.min(end, fromS + forS) - Math.max(end - everyS, fromS)) / everyS;
  const t = Float64Array.from({ length: Math.round(40 / everyS) }, (_, i) => (i + 1) * everyS);
  const digit = truth.digitV ?? 0.001;
  const v = t.map((x) => restV - 0.03 * ohm - amps * ohm * share(x) + noise(truth.noiseV ?? 0.0005));
  return {
    voltage: { t, y: v.map((x) => Math.round(x / digit) * digit), resolution: digit, apertureS: everyS },
    current: {
      t: t.map((x) => x + (truth.lateS ?? 0)),
      y: t.map((x) => 0.03 + amps * share(x) + noise(truth.noiseA ?? 0.02)),
      resolution: 0.01,
      apertureS: everyS,
    },
  };
}

const measured = (truth: Truth, marked = 23, previousS: number | null = null) =>
  dipSchema.parse(measureDip({ ...bench(truth), atS: marked, previousS }));

describe('the dip of a try', () => {
  test('at 50 readings a second: rest, lowest, recovery, peak current and source resistance', () => {
    const d = measured({ everyS: 0.02 });
    expect(Math.abs(d.restV!.value - 12.39925)).toBeLessThan(d.restV!.expandedUncertainty + 0.0005);
    expect(d.lowestV!).toBeCloseTo(12.4 - 12.03 * 0.025, 2);
    expect(d.depthV!.value).toBeCloseTo(0.3, 2);
    expect(d.recoveryS!.value).toBeGreaterThan(0);
    expect(d.recoveryS!.value).toBeLessThan(0.62);
    expect(Math.abs(d.peakA!.value - 12)).toBeLessThan(d.peakA!.expandedUncertainty + 0.05);
    expect(Math.abs(d.sourceResistanceOhm!.value - 0.025)).toBeLessThan(
      d.sourceResistanceOhm!.expandedUncertainty,
    );
    expect(d.sourceResistanceOhm!.expandedUncertainty).toBeLessThan(0.004);
    expect(d.notes).toEqual([]);
  });

  test('has recovered when nine tenths have come back', () => {
    // 0.4 V that come back exponentially with 2 s: nine tenths after 2 x ln 10 = 4.61 s.
    const t = Float64Array.from({ length: 2000 }, (_, i) => (i + 1) * 0.02);
    const y = t.map((x) => 12.4 - (x > 20 ? 0.4 * Math.exp(-(x - 20) / 2) : 0));
    const voltage: DipChannel = { t, y, resolution: 0.001, apertureS: 0.02 };
    const d = measureDip({ voltage, current: null, atS: 21, previousS: null });
    expect(d.recoveryS!.value).toBeCloseTo(2 * Math.log(10), 1);
  });

  test('the resistance survives a clamp whose readings come late', () => {
    const d = measured({ everyS: 0.05, lateS: 0.12, forS: 1 });
    expect(Math.abs(d.sourceResistanceOhm!.value - 0.025)).toBeLessThan(
      d.sourceResistanceOhm!.expandedUncertainty + 0.002,
    );
  });

  test('of a slow meter is flattened, and that is said', () => {
    const d = measured({ everyS: 0.5, forS: 0.2 });
    expect(d.depthV!.value).toBeLessThan(0.2);
    expect(d.notes.join(' ')).toMatch(/One reading takes 0\.50 s: a shorter dip is flattened/);
    // One reading of a dip is no area.
    expect(d.sourceResistanceOhm).toBeNull();
    expect(d.recoveryS!.expandedUncertainty).toBeGreaterThan(0.5);
  });

  test('that drowns in noise is not given a depth', () => {
    const d = measured({ everyS: 0.1, amps: 0.3, noiseV: 0.01 });
    expect(d).toMatchObject({ depthV: null, recoveryS: null, peakA: null, sourceResistanceOhm: null });
    expect(d.restV!.value).toBeCloseTo(12.4, 1);
    expect(d.notes[0]).toBe('No dip stands out of the readings.');
  });

  test('belongs to its own try: what came before the last mark is left alone', () => {
    expect(measured({ everyS: 0.02, fromS: 20 }, 26, 24).depthV).toBeNull();
    expect(measured({ everyS: 0.02, fromS: 20 }, 26, 19).depthV!.value).toBeCloseTo(0.3, 2);
    expect(measured({ everyS: 0.02, fromS: 4 }, 30).depthV).toBeNull();
  });

  test('without recovery says so', () => {
    const d = measured({ everyS: 0.1, forS: 100 });
    expect(d.recoveryS).toBeNull();
    expect(d.notes).toContain('The voltage had not come back when the readings end.');
  });

  test('without readings near it has none', () => {
    expect(measureDip({ voltage: null, current: null, atS: 5, previousS: null }).notes).toEqual([
      'No voltage was recorded.',
    ]);
    expect(measured({ everyS: 0.1 }, 500).notes).toEqual(['No voltage reading lies near this try.']);
    const early = measured({ everyS: 0.1, fromS: 0.3 }, 1);
    expect(early.restV).toBeNull();
    expect(early.lowestV).not.toBeNull();
  });

  test('a clamp that was not there leaves current and resistance out', () => {
    const d = measureDip({
      voltage: bench({ everyS: 0.02 }).voltage,
      current: null,
      atS: 23,
      previousS: null,
    });
    expect([d.peakA, d.sourceResistanceOhm]).toEqual([null, null]);
    expect(d.depthV!.value).toBeCloseTo(0.3, 2);
  });
});
