import { z } from 'zod';

/**
 * The findings document, schema `nightdraw.findings/1`: SI units, seconds on the recording's own time axis.
 * This file is the only source of its shape; everything else infers its types from here.
 */

const seconds = z.number();
const count = z.int().nonnegative();

/** A figure with its expanded uncertainty (k = 2, about 95 %; JCGM 100:2008), or null where it cannot be known. */
export const estimateSchema = z
  .strictObject({ value: z.number(), expandedUncertainty: z.number().nonnegative() })
  .nullable();

const gapSpanSchema = z.strictObject({ startS: seconds, endS: seconds });

const channelFindingsSchema = z.strictObject({
  quantity: z.enum(['current', 'voltage', 'temperature']),
  unit: z.string(),
  samples: count,
  medianIntervalS: seconds.nullable(),
  resolution: z.number().nullable(),
  noise: z.number().nullable(),
  gaps: z.array(gapSpanSchema),
});

export const regimeSchema = z.strictObject({
  startS: seconds,
  endS: seconds,
  periodS: estimateSchema,
  widthS: estimateSchema,
  amplitudeA: estimateSchema,
  chargePerPulseC: estimateSchema,
  pulses: count,
  averageA: estimateSchema,
});

export const wakeUpSchema = z.strictObject({
  startS: seconds,
  durationS: z.number().nonnegative(),
  peakA: z.number(),
  chargeC: z.number(),
});

export const FLAG_CODES = [
  'battery-unreliable-zone',
  'draw-above-limit',
  'draw-near-limit',
  'never-slept',
  'keeps-waking',
  'polling-does-not-stretch',
  'fob-probably-in-range',
  'polling-stretched-normal',
  'polling-stopped-normal',
  'days-until-unreliable',
  'surface-charge-present',
  'charger-connected',
  'clamp-reversed',
  'zero-not-checked',
  'meter-too-slow',
  'accuracy-not-stated',
  'recording-too-short',
  'gaps-in-recording',
  'clock-stepped',
  'no-current-channel',
  'no-voltage-channel',
] as const;

export const flagSchema = z.strictObject({
  code: z.enum(FLAG_CODES),
  severity: z.enum(['info', 'watch', 'act']),
  summary: z.string(),
  because: z.array(z.string()),
  next: z.string().nullable(),
});

export const findingsSchema = z.strictObject({
  schema: z.literal('nightdraw.findings/1'),
  recording: z.strictObject({
    durationS: z.number().nonnegative(),
    startedAt: z.iso.datetime({ offset: true }).nullable(),
    channels: z.array(channelFindingsSchema),
    clockSteps: z.array(z.strictObject({ atS: seconds, stepS: z.number() })),
    reversed: z.boolean(),
    /**
     * How much later than the current's the voltage's readings are stamped, from load steps that both meters saw.
     * Absent where they do not settle it.
     */
    alignment: z.strictObject({ lagS: estimateSchema.unwrap(), steps: count }).optional(),
  }),
  sleep: z.strictObject({
    state: z.enum(['slept', 'never-slept', 'asleep-from-start', 'undetermined']),
    timeToSleepS: seconds.nullable(),
    steps: z.array(z.strictObject({ atS: seconds, fromA: z.number(), toA: z.number() })),
    settledBaselineA: estimateSchema,
  }),
  polling: z.strictObject({
    state: z.enum(['resolved', 'unresolved', 'absent', 'stopped', 'undetermined']),
    seenIn: z.enum(['current', 'voltage']).nullable(),
    stoppedAtS: seconds.nullable(),
    candidatePeriodsS: z.array(z.number().positive()),
    regimes: z.array(regimeSchema),
  }),
  wakeUps: z.array(wakeUpSchema),
  draw: z.strictObject({
    averageAfterSleepA: estimateSchema,
    averageLastHourA: estimateSchema,
    totalChargeC: estimateSchema,
    budget: z.strictObject({
      baselineA: z.number().nullable(),
      pollingA: z.number().nullable(),
      wakeUpsA: z.number().nullable(),
    }),
  }),
  battery: z.strictObject({
    restVoltageV: estimateSchema,
    stateOfCharge: estimateSchema,
    sourceResistanceOhm: estimateSchema,
    daysToUnreliable: estimateSchema,
    table: z.string(),
    thresholdV: z.number(),
    thresholdFrom: z.enum(['default', 'set', 'measured-on-this-car']),
    /** Expanded uncertainty of a threshold that was measured; absent for others, which are agreed on. */
    thresholdUncertaintyV: z.number().nonnegative().optional(),
  }),
  flags: z.array(flagSchema),
});

export type Estimate = z.infer<typeof estimateSchema>;
export type Regime = z.infer<typeof regimeSchema>;
export type WakeUp = z.infer<typeof wakeUpSchema>;
export type FlagCode = (typeof FLAG_CODES)[number];
export type Flag = z.infer<typeof flagSchema>;
export type Findings = z.infer<typeof findingsSchema>;

/** What the technician may tell the analysis about the battery, the meter and the limits in use. */
export const analysisOptionsSchema = z.strictObject({
  capacityAh: z.number().positive().max(1000).optional(),
  chemistry: z.enum(['flooded', 'efb', 'agm', 'gel']).optional(),
  temperatureC: z.number().min(-60).max(100).optional(),
  /** As a data sheet prints it, for example "0.5%+3". */
  meterAccuracy: z.string().max(40).optional(),
  apertureMs: z.number().positive().max(60_000).optional(),
  thresholdV: z.number().positive().max(60).optional(),
  drawLimitA: z.number().positive().max(100).optional(),
});
export type AnalysisOptions = z.infer<typeof analysisOptionsSchema>;
