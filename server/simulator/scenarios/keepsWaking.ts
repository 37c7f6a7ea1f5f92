import type { Scenario } from '../scenario.ts';
import { CLAMP, HANDLE, HOUR_S, LOCK_MOTORS, MINUTE_S, SHORT_WAKE, VOLTMETER } from './parts.ts';

export const keepsWaking: Scenario = {
  name: 'keeps-waking',
  description:
    'One unit wakes the bus every nine minutes or so, all night; this car searches for its fob only when the handle is touched.',
  battery: {
    chemistry: 'efb',
    role: 'main',
    capacityAh: 60,
    restV: 12.41,
    sourceResistanceOhm: 0.014,
    fallVPerAh: 0.014,
    surface: [
      { volts: 0.28, decayS: 6 * MINUTE_S },
      { volts: 0.1, decayS: 90 * MINUTE_S },
    ],
  },
  modules: [
    { name: 'courtesy lamps', stages: [{ untilS: 30, currentA: 1.7 }], asleepA: 0 },
    { name: 'cluster and buses', stages: [{ untilS: 75, currentA: 1.05 }], asleepA: 0.0134 },
    { name: 'battery saver outputs', stages: [{ untilS: 15 * MINUTE_S, currentA: 0.33 }], asleepA: 0 },
    { name: 'transmission controller', stages: [{ untilS: 20 * MINUTE_S, currentA: 0.12 }], asleepA: 0.0007 },
    { name: 'radio and amplifier', stages: [], asleepA: 0.004 },
    { name: 'body module', stages: [], asleepA: 0.0048 },
  ],
  oneOffs: [{ what: 'locked', atS: 52, profile: LOCK_MOTORS }],
  polling: null,
  wakeUps: [
    {
      cause: 'a unit wakes the bus',
      when: { firstS: 26.5 * MINUTE_S, everyS: 9 * MINUTE_S, scatterS: 35 },
      profile: [
        { durationS: 9, currentA: 0.86 },
        { durationS: 40, currentA: 0.2 },
        { durationS: 11, currentA: 0.06 },
      ],
    },
  ],
  liveWake: SHORT_WAKE,
  handle: HANDLE,
  clamp: { ...CLAMP, intervalS: 0.5, apertureS: 0.4, noise: 0.0015 },
  voltmeter: { ...VOLTMETER, intervalS: 2, apertureS: 0.4 },
  nightS: 7.5 * HOUR_S,
};
