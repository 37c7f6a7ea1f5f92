import { describe, expect, it } from 'vitest';
import { checklistSchema, PREFLIGHT_ITEMS, type CheckFound } from '../../server/messages/checklist.ts';
import { cautionsFor } from '../../web/state/cautions.ts';
import {
  bytesText,
  checklistOf,
  lookAround,
  scatterOf,
  ticksFrom,
  toggled,
  type SeenChannel,
  type Surroundings,
} from '../../web/state/preflight.ts';

const NOW = '2026-01-05T21:00:00.000Z';
const nowMs = Date.parse(NOW);

/** Ten readings a second for a minute, in steps of a milliampere. */
const clamp = (change: Partial<SeenChannel> = {}, everyMs = 100): SeenChannel => ({
  meterKey: 'server:c',
  meterName: 'Clamp',
  quantity: 'current',
  step: 0.001,
  atMs: 60_000,
  live: true,
  trace: {
    t: Array.from({ length: 60_000 / everyMs }, (_, i) => i * everyMs),
    y: Array.from({ length: 60_000 / everyMs }, (_, i) => 0.031 + 0.001 * (i % 2)),
  },
  ...change,
});

const around = (change: Partial<Surroundings> = {}): Surroundings => ({
  nowIso: NOW,
  serverNowMs: 60_050,
  channels: [clamp()],
  limitA: 0.05,
  zeroChecks: [],
  freeBytes: 118e9,
  power: { charging: true, level: 0.87 },
  screen: 'held',
  pageRecords: true,
  ...change,
});

const look = (id: CheckFound['id'], change: Partial<Surroundings> = {}): string => {
  const found = lookAround(around(change)).find((f) => f.id === id)!;
  return `${found.verdict}: ${found.text}`;
};

describe('what the page sees itself', () => {
  it('is said with its figure', () => {
    expect(look('readings')).toBe('fine: Arriving: current from Clamp.');
    expect(look('rate')).toMatch(/^fine: Clamp: 10 readings a second; pulses down to every 0\.20* ?s/);
    expect(look('resolution')).toMatch(/^fine: Steps of 1(\.0+)? mA against a limit of 50(\.0+)? mA\.$/);
    expect(look('noise')).toMatch(/^fine: Readings of Clamp scatter by 1\.\d+ mA/);
    expect(look('disk')).toBe('fine: 118 GB free where the recordings are kept.');
    expect(look('power')).toBe('fine: On mains, its own battery at 87 %.');
    expect(look('screen')).toMatch(/^fine/);
  });

  it('is poor where the night would suffer', () => {
    expect(look('readings', { channels: [] })).toBe('poor: No meter is sending.');
    expect(look('readings', { serverNowMs: 66_000 })).toMatch(/^poor: Clamp sends no live current/);
    expect(look('readings', { channels: [clamp({ live: false })] })).toMatch(/^poor/);
    expect(look('rate', { channels: [clamp({}, 1000)] })).toMatch(/^poor: Clamp: 1\.0 readings a second/);
    expect(look('resolution', { channels: [clamp({ step: 0.01 })] })).toMatch(/^poor: .*too coarse/);
    expect(look('resolution', { limitA: 0.005 })).toMatch(/^poor/);
    expect(look('noise', { limitA: 0.001 })).toMatch(/^poor/);
    expect(look('offset')).toMatch(/^poor: No zero check of Clamp/);
    expect(look('disk', { freeBytes: 400e6 })).toMatch(/^poor: 400 MB free/);
    expect(look('power', { power: { charging: false, level: 0.54 } })).toBe(
      'poor: On its own battery, 54 % left: plug it in.',
    );
    expect(look('screen', { screen: 'refused' })).toMatch(/^poor/);
  });

  it('is left open where nobody can say', () => {
    expect(look('rate', { channels: [] })).toMatch(/^not-known/);
    expect(look('power', { power: null })).toMatch(/^not-known/);
    expect(look('disk', { freeBytes: null })).toMatch(/^not-known/);
    expect(look('screen', { screen: 'no-such-thing' })).toMatch(/^not-known/);
    const few = clamp({ step: null, trace: { t: [0, 1], y: [0, 0] } });
    expect(look('resolution', { channels: [few] })).toMatch(/^not-known/);
    expect(look('noise', { channels: [few] })).toMatch(/^not-known/);
  });

  it('takes the step from the readings where the format has none, and the server records without the page', () => {
    expect(look('resolution', { channels: [clamp({ step: null })] })).toMatch(/^fine: Steps of 1/);
    expect(look('screen', { screen: 'refused', pageRecords: false })).toMatch(/^fine/);
  });

  it('knows the zero of the clamp for two hours', () => {
    const check = {
      meterKey: 'server:c',
      key: 'a',
      quantity: 'current' as const,
      takenAt: new Date(nowMs - 600_000).toISOString(),
      durationMs: 5000,
      readings: 25,
      mean: -0.012,
      scatter: 0.003,
      standardUncertainty: 0.001,
    };
    expect(look('offset', { zeroChecks: [check] })).toMatch(
      /^fine: Clamp showed -12(\.0+)? mA around nothing, 10 min/,
    );
    const old = { ...check, takenAt: new Date(nowMs - 2 * 3_600_000 - 1).toISOString() };
    expect(look('offset', { zeroChecks: [old] })).toMatch(/^poor/);
    expect(look('offset', { zeroChecks: [{ ...check, meterKey: 'server:d' }] })).toMatch(/^poor/);
  });
});

it('takes neither a step nor a slope for noise', () => {
  const slope = Array.from({ length: 100 }, (_, i) => 1 - i * 1e-4 + (i > 50 ? 5 : 0));
  expect(scatterOf(slope)).toBeLessThan(2e-4);
  expect(scatterOf([1, null, 2])).toBeNull();
});

it('keeps ticks with their time over a reload, not until the next night', () => {
  const once = toggled({}, 'locked', NOW);
  expect(once).toEqual({ locked: NOW });
  expect(toggled(once, 'locked', NOW)).toEqual({});
  const text = JSON.stringify({ ...once, lucky: NOW, computer: 'soon' });
  expect(ticksFrom(text, nowMs + 60_000)).toEqual(once);
  expect(ticksFrom(text, nowMs + 7 * 3_600_000)).toEqual({});
  for (const broken of [null, '{', '3', 'null']) expect(ticksFrom(broken, nowMs)).toEqual({});
});

it('makes a checklist that the server takes', () => {
  const list = checklistOf(toggled(toggled({}, 'locked', NOW), 'maker', NOW), lookAround(around()));
  expect(checklistSchema.parse(list)).toEqual(list);
  expect(list.ticks.map((t) => t.id)).toEqual(['maker', 'locked']);
  expect(list.found).toHaveLength(8);
});

it('covers what hurts people, with reasons', () => {
  const said = PREFLIGHT_ITEMS.map((i) => `${i.what} ${i.why}`).join(' ');
  for (const word of [
    '3 m (10 ft)',
    'latch',
    'tens of amperes',
    'hydrogen',
    'zeroed',
    'auto-power-off',
    'Range',
    "maker's",
  ])
    expect(said).toContain(word);
  expect(cautionsFor('preflight').map((c) => c.id)).toEqual(
    expect.arrayContaining(['hybrid', 'high-voltage', 'spanner', 'in-line-fuse', 'laptop', 'exhaust']),
  );
});

it.each([
  [1.2e9, '1.2 GB'],
  [118e9, '118 GB'],
  [40e6, '40 MB'],
])('says %d octets as %s', (bytes, text) => {
  expect(bytesText(bytes)).toBe(text);
});
