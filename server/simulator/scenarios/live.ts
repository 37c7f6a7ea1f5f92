import type { Scenario } from '../scenario.ts';
import { CLAMP, HANDLE, LOCK_MOTORS, MINUTE_S, SHORT_WAKE, VOLTMETER } from './parts.ts';

export const live: Scenario = {
  name: 'live',
  description:
    'To watch: falls asleep within a minute, then searches for its fob once a second; touch the handle and see the dip.',
  battery: {
    chemistry: 'agm',
    role: 'auxiliary',
    capacityAh: 45,
    restV: 12.38,
    sourceResistanceOhm: 0.028,
    fallVPerAh: 0.02,
    surface: [{ volts: 0.16, decayS: 4 * MINUTE_S }],
  },
  modules: [
    { name: 'courtesy lamps', stages: [{ untilS: 9, currentA: 2.1 }], asleepA: 0 },
    {
      name: 'cluster and buses',
      stages: [
        { untilS: 17, currentA: 1.3 },
        { untilS: 34, currentA: 0.45 },
      ],
      asleepA: 0.015,
    },
    { name: 'media unit', stages: [{ untilS: 52, currentA: 0.2 }], asleepA: 0.003 },
    { name: 'body module', stages: [], asleepA: 0.0048 },
  ],
  oneOffs: [{ what: 'locked', atS: 13, profile: LOCK_MOTORS }],
  polling: {
    shape: [{ durationS: 0.06, currentA: 0.8 }],
    jitterS: 0.0005,
    regimes: [{ fromS: 14.5, toS: Infinity, periodS: 1.013 }],
  },
  wakeUps: [
    {
      cause: 'a unit checks in',
      when: { firstS: 95, everyS: 180, scatterS: 40 },
      profile: SHORT_WAKE,
    },
  ],
  liveWake: SHORT_WAKE,
  handle: HANDLE,
  clamp: CLAMP,
  voltmeter: VOLTMETER,
  nightS: 10 * MINUTE_S,
};
