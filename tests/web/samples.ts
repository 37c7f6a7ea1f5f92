import { findingsSchema, type Findings } from '../../server/messages/findings.ts';
import { recordingDetailSchema, type RecordingDetail } from '../../server/messages/http.ts';

/** A night of ten hours with everything that can be marked, through the schemas that the page relies on. */
export const WHOLE = { fromS: 0, toS: 36_000 };

const est = (value: number, expandedUncertainty: number) => ({ value, expandedUncertainty });

export function sampleFindings(change: Partial<Findings> = {}): Findings {
  return findingsSchema.parse({
    schema: 'nightdraw.findings/1',
    recording: {
      durationS: 36_000,
      startedAt: '2025-03-04T21:00:00.000Z',
      channels: [
        {
          quantity: 'current',
          unit: 'A',
          samples: 100_000,
          medianIntervalS: 0.25,
          resolution: 0.001,
          noise: 0.001,
          gaps: [{ startS: 8000, endS: 8100 }],
        },
        {
          quantity: 'voltage',
          unit: 'V',
          samples: 18_000,
          medianIntervalS: 2,
          resolution: 0.001,
          noise: 0.0005,
          gaps: [],
        },
      ],
      clockSteps: [{ atS: 5000, stepS: -2 }],
      reversed: false,
    },
    sleep: {
      state: 'slept',
      timeToSleepS: 900,
      steps: [
        { atS: 40, fromA: 3.4, toA: 1.5 },
        { atS: 900, fromA: 0.33, toA: 0.021 },
      ],
      settledBaselineA: est(0.021, 0.0005),
    },
    polling: {
      state: 'stopped',
      seenIn: 'current',
      stoppedAtS: 30_000,
      candidatePeriodsS: [],
      regimes: [
        {
          startS: 60,
          endS: 20_000,
          periodS: est(0.25, 0.0001),
          widthS: null,
          amplitudeA: null,
          chargePerPulseC: est(0.012, 0.0002),
          pulses: 79_760,
          averageA: est(0.048, 0.001),
        },
        {
          startS: 20_000,
          endS: 30_000,
          periodS: est(0.75, 0.0001),
          widthS: null,
          amplitudeA: null,
          chargePerPulseC: est(0.012, 0.0002),
          pulses: 13_333,
          averageA: est(0.016, 0.001),
        },
      ],
    },
    wakeUps: [
      { startS: 10_000, durationS: 40, peakA: 0.9, chargeC: 12 },
      { startS: 10_600, durationS: 40, peakA: 0.9, chargeC: 12 },
      { startS: 11_200, durationS: 40, peakA: 0.9, chargeC: 12 },
    ],
    draw: {
      averageAfterSleepA: est(0.062, 0.001),
      averageLastHourA: est(0.037, 0.001),
      totalChargeC: est(2300, 20),
      budget: { baselineA: 0.021, pollingA: 0.039, wakeUpsA: 0.002 },
    },
    battery: {
      restVoltageV: est(12.31, 0.02),
      stateOfCharge: est(0.55, 0.1),
      sourceResistanceOhm: null,
      daysToUnreliable: est(6, 2),
      table: 'flooded, table A',
      thresholdV: 12.2,
      thresholdFrom: 'default',
    },
    flags: [
      { code: 'draw-above-limit', severity: 'act', summary: 'Above.', because: ['62 mA.'], next: 'Look.' },
      { code: 'keeps-waking', severity: 'watch', summary: 'Wakes.', because: [], next: null },
    ],
    ...change,
  });
}

export function sampleDetail(): RecordingDetail {
  const channel = {
    meterKey: 'virtual:clamp',
    meterName: 'Clamp',
    driver: 'sig',
    label: 'Current',
    apertureMs: null,
    samples: 100,
  };
  return recordingDetailSchema.parse({
    recording: {
      id: 'abcd1234',
      caseId: null,
      kind: 'overnight-test',
      title: 'Night',
      state: 'stopped',
      startedAt: '2025-03-04T21:00:00.000Z',
      zone: 'Europe/London',
      durationMs: 36_000_000,
      provenance: '',
      channels: [
        { ...channel, id: 1, key: 'a', quantity: 'current' },
        { ...channel, id: 2, key: 'b', quantity: 'voltage', label: 'Voltage' },
      ],
    },
    events: [
      { atMs: 0, kind: 'started', text: '', value: null },
      { atMs: 25_000_000, kind: 'attempt', text: 'no answer, lowest 11.900 V', value: null },
      { atMs: 25_100_000, kind: 'attempt', text: '', value: null },
      { atMs: 26_000_000, kind: 'note', text: 'rain', value: null },
      { atMs: 5_000_000, kind: 'clock-step', text: 'Clock set back by 2 s.', value: -2000 },
    ],
    gaps: [
      { channelId: 1, startMs: 8_050_000, endMs: 8_200_000, reason: 'dropped' },
      { channelId: 2, startMs: 12_000_000, endMs: 12_060_000, reason: 'silent' },
    ],
  });
}
