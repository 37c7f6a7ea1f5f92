import type { FlagCode } from '../../server/messages/findings.ts';
import type { Truth } from '../../server/simulator/truth.ts';

/** One demand on the findings document; `path` is a dotted path into it. */
export type Check =
  | { readonly path: string; readonly equals: string | number | boolean | null }
  | { readonly path: string; readonly value: number; readonly within: number }
  | { readonly path: string; readonly length: number }
  /** Some element of the list has this field near this value. */
  | { readonly path: string; readonly some: string; readonly value: number; readonly within: number }
  | { readonly path: string; readonly includes: string }
  | { readonly path: string; readonly excludes: string };

export interface Expected {
  readonly checks: readonly Check[];
}

export interface FlagsOfStory {
  readonly raised: readonly FlagCode[];
  readonly absent: readonly FlagCode[];
}

const HALF_COUNT_A = 0.0005;

/** What a good analysis finds of a night, with how near it must come. */
export function expectedFindings(truth: Truth, flags: FlagsOfStory): Expected {
  const near = (path: string, value: number, within: number): Check => ({
    path,
    value: tidy(value),
    within: tidy(within),
  });
  const share = (path: string, value: number, relative: number, atLeast = 0): Check =>
    near(path, value, Math.max(Math.abs(value) * relative, atLeast));
  const { polling, budget } = truth;
  const resolved = polling.stoppedAtS === null ? 'resolved' : 'stopped';

  return {
    checks: [
      { path: 'sleep.state', equals: 'slept' },
      near('sleep.timeToSleepS', truth.timeToSleepS!, 5),
      ...truth.steps
        .filter((s) => s.fromA - s.toA > 0.1)
        .map((s): Check => ({ path: 'sleep.steps', some: 'atS', value: s.atS, within: 5 })),
      share('sleep.settledBaselineA.value', truth.baselineA, 0.02, HALF_COUNT_A),

      { path: 'polling.state', equals: polling.regimes.length === 0 ? 'absent' : resolved },
      { path: 'polling.regimes', length: polling.regimes.length },
      ...polling.regimes.flatMap((r, i) => [
        // Where the search begins the car is still awake and its draw unsteady; a change of pace is sharper.
        near(`polling.regimes.${i}.startS`, r.startS, i === 0 ? 5 : 3 * r.periodS),
        near(`polling.regimes.${i}.endS`, r.endS, 3 * r.periodS),
        share(`polling.regimes.${i}.periodS.value`, r.periodS, 1e-4),
        share(`polling.regimes.${i}.pulses`, r.pulses, 0.01),
        share(`polling.regimes.${i}.chargePerPulseC.value`, r.chargePerPulseC, 0.02),
        share(`polling.regimes.${i}.averageA.value`, r.averageA, 0.02, 0.0002),
      ]),
      polling.stoppedAtS === null
        ? { path: 'polling.stoppedAtS', equals: null }
        : near('polling.stoppedAtS', polling.stoppedAtS, 3 * polling.regimes.at(-1)!.periodS),

      { path: 'wakeUps', length: truth.wakeUps.length },
      ...truth.wakeUps.flatMap((w, i) => [
        near(`wakeUps.${i}.startS`, w.startS, 2),
        share(`wakeUps.${i}.chargeC`, w.chargeC, 0.03),
      ]),

      share('draw.averageAfterSleepA.value', truth.averageAfterSleepA!, 0.005, 0.0001),
      share('draw.averageLastHourA.value', truth.averageLastHourA!, 0.005, 0.0001),
      share('draw.totalChargeC.value', truth.totalChargeC, 0.005),
      share('draw.budget.baselineA', budget!.baselineA, 0.02, HALF_COUNT_A),
      share('draw.budget.pollingA', budget!.pollingA, 0.02, 0.0002),
      share('draw.budget.wakeUpsA', budget!.wakeUpsA, 0.03, 0.0002),

      near('battery.restVoltageV.value', truth.restVoltageV, 0.01),
      share('battery.sourceResistanceOhm.value', truth.sourceResistanceOhm, 0.1),

      ...flags.raised.map((includes): Check => ({ path: 'flags', includes })),
      ...flags.absent.map((excludes): Check => ({ path: 'flags', excludes })),
    ],
  };
}

/** Six significant digits: enough for every tolerance, and readable. */
function tidy(x: number): number {
  return Number(x.toPrecision(6));
}
