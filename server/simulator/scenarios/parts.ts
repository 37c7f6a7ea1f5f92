import type { Segment } from '../load.ts';
import type { MeterSpec, RadioSpec } from '../meter.ts';
import type { HandleSpec } from '../scenario.ts';

/** What the scenarios share. Figures without a source are plausible, not measured on any car. */

export const MINUTE_S = 60;
export const HOUR_S = 3600;

/** A steady radio: readings leave at the next connection event and a few have to wait for one more. */
const RADIO: RadioSpec = {
  latencyS: 0.004,
  connectionIntervalS: 0.03,
  missedEvents: 0.02,
  loss: 0,
  dropouts: [],
};

/** A low-current clamp that shows milliamperes. */
export const CLAMP: MeterSpec = {
  name: 'Virtual clamp',
  quantity: 'current',
  intervalS: 0.1,
  apertureS: 0.1,
  scale: -3,
  stepCounts: 1,
  noise: 0.0012,
  offset: 0,
  offsetPerHour: 0,
  gain: 1,
  countsMin: -60_000,
  countsMax: 60_000,
  radio: RADIO,
};

/** A voltmeter at the battery posts that shows millivolts. */
export const VOLTMETER: MeterSpec = {
  name: 'Virtual voltmeter',
  quantity: 'voltage',
  intervalS: 0.1,
  apertureS: 0.1,
  scale: -3,
  stepCounts: 1,
  noise: 0.0006,
  offset: 0,
  offsetPerHour: 0,
  gain: 1,
  countsMin: 0,
  countsMax: 60_000,
  radio: RADIO,
};

/** Lock motors: an inrush, then the run to the stop. */
export const LOCK_MOTORS: readonly Segment[] = [
  { durationS: 0.08, currentA: 17 },
  { durationS: 0.3, currentA: 6.5 },
];

/** Door antennas one after the other, each with a gap in which the car listens. */
const SEARCH: readonly Segment[] = [
  { durationS: 0.12, currentA: 1.6 },
  { durationS: 0.05, currentA: 0.3 },
  { durationS: 0.12, currentA: 1.6 },
  { durationS: 0.05, currentA: 0.3 },
  { durationS: 0.12, currentA: 1.6 },
];

/** Unlocks, stands open for a while, locks itself again and goes back to sleep. */
const OPENED: readonly Segment[] = [
  ...LOCK_MOTORS,
  { durationS: 12, currentA: 1.9 },
  ...LOCK_MOTORS,
  { durationS: 5, currentA: 0.7 },
  { durationS: 4, currentA: 0.15 },
];

export const HANDLE: HandleSpec = {
  search: SEARCH,
  answered: OPENED,
  unanswered: [{ durationS: 4, currentA: 0.28 }],
  answersAboveV: 11.9,
  touchesAtS: [],
};

/** The bus is woken, a unit does its work, and the others hold the bus for a few seconds more. */
export const SHORT_WAKE: readonly Segment[] = [
  { durationS: 5, currentA: 0.9 },
  { durationS: 3, currentA: 0.35 },
];
