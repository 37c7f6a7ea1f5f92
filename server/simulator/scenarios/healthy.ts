import type { Scenario } from '../scenario.ts';
import { CLAMP, HANDLE, HOUR_S, LOCK_MOTORS, MINUTE_S, SHORT_WAKE, VOLTMETER } from './parts.ts';

/**
 * Sleep times as published in vehicle service manuals: transmission controller 120 mA to 20 min,
 * infotainment 200 mA to 30 min, accessory relay 210 mA to 45 min, a bus that sleeps after 40 s.
 */
export const healthy: Scenario = {
  name: 'healthy',
  description:
    'A car that does all it should: asleep after 45 minutes, a steady door search, two brief checks in the night.',
  battery: {
    chemistry: 'agm',
    role: 'main',
    capacityAh: 70,
    restV: 12.74,
    sourceResistanceOhm: 0.011,
    fallVPerAh: 0.0125,
    surface: [
      { volts: 0.31, decayS: 7 * MINUTE_S },
      { volts: 0.09, decayS: 75 * MINUTE_S },
    ],
  },
  modules: [
    { name: 'courtesy lamps', stages: [{ untilS: 42, currentA: 2.6 }], asleepA: 0 },
    { name: 'instrument cluster', stages: [{ untilS: 60, currentA: 0.8 }], asleepA: 0.0004 },
    {
      name: 'engine controller',
      stages: [
        { untilS: 25, currentA: 1.4 },
        { untilS: 100, currentA: 0.35 },
      ],
      asleepA: 0.001,
    },
    { name: 'bus', stages: [{ untilS: 100, currentA: 0.2 }], asleepA: 0.0102 },
    {
      name: 'transmission controller',
      stages: [{ untilS: 20 * MINUTE_S, currentA: 0.12 }],
      asleepA: 0.0007,
    },
    { name: 'infotainment', stages: [{ untilS: 30 * MINUTE_S, currentA: 0.2 }], asleepA: 0.003 },
    { name: 'accessory relay', stages: [{ untilS: 45 * MINUTE_S, currentA: 0.21 }], asleepA: 0 },
    { name: 'body module', stages: [], asleepA: 0.0047 },
  ],
  oneOffs: [{ what: 'locked', atS: 58, profile: LOCK_MOTORS }],
  polling: {
    shape: [{ durationS: 0.018, currentA: 0.75 }],
    jitterS: 0.0004,
    regimes: [{ fromS: 60.4, toS: Infinity, periodS: 0.7617 }],
  },
  wakeUps: [
    {
      cause: 'evaporation check',
      when: { atS: [2.31 * HOUR_S] },
      profile: [
        { durationS: 4, currentA: 1.1 },
        { durationS: 95, currentA: 0.42 },
        { durationS: 12, currentA: 0.09 },
      ],
    },
    {
      cause: 'telephone link checks in',
      when: { atS: [4.62 * HOUR_S] },
      profile: [
        { durationS: 14, currentA: 0.36 },
        { durationS: 9, currentA: 0.08 },
      ],
    },
  ],
  liveWake: SHORT_WAKE,
  handle: HANDLE,
  clamp: { ...CLAMP, intervalS: 0.25, apertureS: 0.25 },
  voltmeter: { ...VOLTMETER, intervalS: 2, apertureS: 0.25 },
  nightS: 6 * HOUR_S,
};
