import type { Scenario } from '../scenario.ts';
import { CLAMP, HANDLE, HOUR_S, LOCK_MOTORS, MINUTE_S, SHORT_WAKE, VOLTMETER } from './parts.ts';

/** A published pattern, 300 ms stretched to 600 ms after days and then off, with one step more, in a night. */
export const stretching: Scenario = {
  name: 'stretching',
  description:
    'The door search slows down twice and then stops, as it should after days without a fob, here within one night.',
  battery: {
    chemistry: 'flooded',
    role: 'main',
    capacityAh: 60,
    restV: 12.52,
    sourceResistanceOhm: 0.013,
    fallVPerAh: 0.0125,
    surface: [
      { volts: 0.3, decayS: 6 * MINUTE_S },
      { volts: 0.07, decayS: 40 * MINUTE_S },
    ],
  },
  modules: [
    { name: 'courtesy lamps', stages: [{ untilS: 24, currentA: 1.9 }], asleepA: 0 },
    {
      name: 'cluster and buses',
      stages: [
        { untilS: 40, currentA: 1.2 },
        { untilS: 4 * MINUTE_S, currentA: 0.21 },
      ],
      asleepA: 0.0122,
    },
    { name: 'media unit', stages: [{ untilS: 10 * MINUTE_S, currentA: 0.31 }], asleepA: 0.003 },
    { name: 'body module', stages: [], asleepA: 0.0048 },
  ],
  oneOffs: [{ what: 'locked', atS: 35, profile: LOCK_MOTORS }],
  polling: {
    shape: [{ durationS: 0.02, currentA: 0.8 }],
    jitterS: 0.0003,
    regimes: [
      { fromS: 37, toS: 65 * MINUTE_S, periodS: 0.3002 },
      { fromS: 65 * MINUTE_S, toS: 115 * MINUTE_S, periodS: 0.6005 },
      { fromS: 115 * MINUTE_S, toS: 155 * MINUTE_S, periodS: 1.2009 },
    ],
  },
  wakeUps: [
    {
      cause: 'a door contact is read',
      when: { atS: [1.42 * HOUR_S] },
      profile: [
        { durationS: 6, currentA: 0.5 },
        { durationS: 25, currentA: 0.12 },
      ],
    },
  ],
  liveWake: SHORT_WAKE,
  handle: HANDLE,
  clamp: { ...CLAMP, intervalS: 0.125, apertureS: 0.125 },
  voltmeter: { ...VOLTMETER, intervalS: 2, apertureS: 0.125 },
  nightS: 3 * HOUR_S,
};
