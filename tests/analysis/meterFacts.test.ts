import { expect, it } from 'vitest';
import { factsOfChannel } from '../../server/analysis/meterFacts.ts';
import { meterRecordSchema } from '../../server/messages/meterRecord.ts';

const KEY = 'server:one';
const record = meterRecordSchema.parse({
  accuracy: [
    { quantity: 'current', upTo: 40, percent: 2, digits: 5 },
    { quantity: 'voltage', upTo: 60, percent: 0.5, digits: 3 },
    { quantity: 'current', upTo: 4, percent: 1.5, digits: 10, digit: 0.001 },
  ],
  apertureMs: 250,
  calibration: {
    number: 'C-1',
    date: '2026-03-01',
    lines: [{ quantity: 'current', fixed: 0.01, percent: 0.5, k: 2 }],
  },
});
const check = {
  meterKey: KEY,
  key: 'a',
  quantity: 'current',
  takenAt: '2026-11-25T20:00:00.000Z',
  atMs: -30_000,
  durationMs: 5000,
  readings: 20,
  mean: 0.012,
  scatter: 0.002,
  standardUncertainty: 0.0005,
} as const;
const facts = {
  meters: [{ meterKey: KEY, record }],
  zeroChecks: [check, { ...check, key: 'b', mean: 7 }, { ...check, meterKey: 'server:two', mean: 8 }],
};

it('gives a channel its own ranges, rising, its certificate as standard uncertainty and its own zero checks', () => {
  const channel = { quantity: 'current', apertureMs: null, meterKey: KEY, key: 'a', step: 0.001 } as const;
  expect(factsOfChannel(channel, facts)).toEqual({
    resolution: 0.001,
    apertureS: 0.25,
    ranges: [
      { upTo: 4, accuracy: { percent: 1.5, digits: 10 }, digit: 0.001 },
      { upTo: 40, accuracy: { percent: 2, digits: 5 }, digit: null },
    ],
    zeroChecks: [{ atS: -30, value: 0.012, standardUncertainty: 0.0005 }],
    calibration: { fixed: 0.005, relative: 0.0025 },
  });
});

it('says nothing of a meter without a record, and lets the meter itself state its aperture', () => {
  const other = { quantity: 'current', apertureMs: 100, meterKey: 'server:three', key: 'a' } as const;
  expect(factsOfChannel(other, facts)).toEqual({ resolution: null, apertureS: 0.1 });
  const own = { quantity: 'voltage', apertureMs: 100, meterKey: KEY, key: 'v' } as const;
  expect(factsOfChannel(own, facts).apertureS).toBe(0.1);
});
