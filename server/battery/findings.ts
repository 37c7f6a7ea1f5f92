import type { ChannelInput, NightInput } from '../analysis/input.ts';
import type { AnalysisOptions, Findings } from '../messages/findings.ts';

export type FindNightOptions = AnalysisOptions & {
  readonly thresholdFrom?: 'set' | 'measured-on-this-car';
};

/** The findings document of one recording (schema nightdraw.findings/1; SI units). Pure and total. */
export function findNight(input: NightInput, options: FindNightOptions = {}): Findings {
  const thresholdV = options.thresholdV ?? 12.2;
  return {
    schema: 'nightdraw.findings/1',
    recording: {
      durationS: input.durationS ?? Math.max(0, ...input.channels.map((c) => c.t.at(-1) ?? 0)),
      startedAt: input.startedAt,
      channels: input.channels.map((c) => ({
        quantity: c.quantity,
        unit: c.unit,
        samples: c.t.length,
        medianIntervalS: medianInterval(c),
        resolution: c.resolution,
        noise: null,
        gaps: c.gaps.map((g) => ({ startS: g.startS, endS: g.endS })),
      })),
      clockSteps: input.clockSteps.map((s) => ({ atS: s.atS, stepS: s.stepS })),
      reversed: false,
    },
    sleep: { state: 'undetermined', timeToSleepS: null, steps: [], settledBaselineA: null },
    polling: {
      state: 'undetermined',
      seenIn: null,
      stoppedAtS: null,
      candidatePeriodsS: [],
      regimes: [],
    },
    wakeUps: [],
    draw: {
      averageAfterSleepA: null,
      averageLastHourA: null,
      totalChargeC: null,
      budget: { baselineA: null, pollingA: null, wakeUpsA: null },
    },
    battery: {
      restVoltageV: null,
      stateOfCharge: null,
      sourceResistanceOhm: null,
      daysToUnreliable: null,
      table: 'flooded (table A)',
      thresholdV,
      thresholdFrom: options.thresholdV === undefined ? 'default' : (options.thresholdFrom ?? 'set'),
    },
    flags: [],
  };
}

function medianInterval(c: ChannelInput): number | null {
  if (c.t.length < 2) return null;
  const d = new Float64Array(c.t.length - 1);
  for (let i = 1; i < c.t.length; i++) d[i - 1] = c.t[i]! - c.t[i - 1]!;
  d.sort();
  return d[d.length >> 1]!;
}
