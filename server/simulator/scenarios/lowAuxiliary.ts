import type { Scenario } from '../scenario.ts';
import { CLAMP, HANDLE, HOUR_S, LOCK_MOTORS, MINUTE_S, SHORT_WAKE, VOLTMETER } from './parts.ts';

export const lowAuxiliary: Scenario = {
  name: 'low-auxiliary',
  description:
    'A hybrid whose small, tired auxiliary battery rests where passive entry stops answering; the door search never slows.',
  battery: {
    chemistry: 'agm',
    role: 'auxiliary',
    capacityAh: 45,
    restV: 11.98,
    sourceResistanceOhm: 0.042,
    fallVPerAh: 0.024,
    surface: [
      { volts: 0.26, decayS: 5 * MINUTE_S },
      { volts: 0.06, decayS: 32 * MINUTE_S },
    ],
  },
  modules: [
    { name: 'displays', stages: [{ untilS: 31, currentA: 3.1 }], asleepA: 0.0004 },
    {
      name: 'high-voltage controllers',
      stages: [
        { untilS: 48, currentA: 2.2 },
        { untilS: 5 * MINUTE_S, currentA: 0.55 },
      ],
      asleepA: 0.006,
    },
    { name: 'bus', stages: [{ untilS: 5 * MINUTE_S, currentA: 0.2 }], asleepA: 0.0135 },
    { name: 'infotainment', stages: [{ untilS: 15 * MINUTE_S, currentA: 0.24 }], asleepA: 0.0041 },
    { name: 'body module', stages: [], asleepA: 0.005 },
  ],
  oneOffs: [{ what: 'locked', atS: 44, profile: LOCK_MOTORS }],
  polling: {
    shape: [{ durationS: 0.014, currentA: 0.95 }],
    jitterS: 0.0002,
    regimes: [{ fromS: 46, toS: Infinity, periodS: 0.3004 }],
  },
  wakeUps: [],
  liveWake: SHORT_WAKE,
  handle: {
    ...HANDLE,
    answersAboveV: 11.95,
    touchesAtS: [2.71 * HOUR_S, 2.71 * HOUR_S + 75, 2.71 * HOUR_S + 160],
  },
  clamp: { ...CLAMP, intervalS: 0.125, apertureS: 0.125, noise: 0.0015 },
  voltmeter: { ...VOLTMETER, intervalS: 1, apertureS: 0.125 },
  nightS: 3 * HOUR_S,
};
