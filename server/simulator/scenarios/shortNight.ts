import type { Scenario } from '../scenario.ts';
import { CLAMP, HANDLE, SHORT_WAKE, VOLTMETER } from './parts.ts';

export const shortNight: Scenario = {
  name: 'short-night',
  description:
    'A whole night in 90 seconds: three shut-down steps, a door search twice a second, one wake-up.',
  battery: {
    chemistry: 'agm',
    role: 'main',
    capacityAh: 60,
    restV: 12.6,
    sourceResistanceOhm: 0.02,
    fallVPerAh: 0.013,
    surface: [{ volts: 0.05, decayS: 15 }],
  },
  modules: [
    { name: 'cluster and buses', stages: [{ untilS: 6, currentA: 0.55 }], asleepA: 0.012 },
    { name: 'media unit', stages: [{ untilS: 13, currentA: 0.3 }], asleepA: 0.003 },
    { name: 'transmission controller', stages: [{ untilS: 20, currentA: 0.15 }], asleepA: 0.001 },
    { name: 'body module', stages: [], asleepA: 0.004 },
  ],
  oneOffs: [],
  polling: {
    shape: [{ durationS: 0.06, currentA: 0.6 }],
    jitterS: 0,
    regimes: [{ fromS: 20.1, toS: Infinity, periodS: 0.5 }],
  },
  wakeUps: [
    {
      cause: 'a unit checks in',
      when: { atS: [55] },
      profile: [{ durationS: 5, currentA: 0.9 }],
    },
  ],
  liveWake: SHORT_WAKE,
  handle: HANDLE,
  clamp: { ...CLAMP, intervalS: 0.05, apertureS: 0.05 },
  voltmeter: { ...VOLTMETER, intervalS: 0.05, apertureS: 0.05 },
  nightS: 90,
};
