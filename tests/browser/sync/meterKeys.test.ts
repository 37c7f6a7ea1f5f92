import { expect, test } from 'vitest';
import { meterKeySchema, type Recording } from '../../../server/messages/records.ts';
import { awaitedMeters, keyFor, keyOfDevice } from '../../../web/sync/meterKeys.ts';

const recording = (id: string, ...keys: string[]): Recording => ({
  id,
  caseId: null,
  kind: 'overnight-test',
  title: 'Night',
  state: 'recording',
  startedAt: null,
  zone: null,
  durationMs: 0,
  provenance: '',
  channels: keys.map((meterKey, i) => ({
    id: i + 1,
    samples: 0,
    meterKey,
    meterName: 'Clamp',
    driver: 'd',
    key: 'k',
    quantity: 'current',
    label: 'Current',
    apertureMs: null,
  })),
});

test('ids of browsers become keys that the server accepts, different ids different keys', () => {
  const ids = ['mK4X92KEK6IeXUAkM/BNBg==', 'mK4X92KEK6IeXUAkM+BNBg==', '', 'x'.repeat(500)];
  const keys = ids.map(keyOfDevice);
  for (const key of keys) expect(meterKeySchema.safeParse(key).success).toBe(true);
  expect(new Set(keys).size).toBe(4);
});

test('a recording awaits only meters of this browser that are not connected', () => {
  const known = [
    { key: 'page:a', name: 'Clamp' },
    { key: 'page:b', name: 'Clamp' },
  ];
  const running = [
    recording('rec1', 'page:a', 'page:a', 'page:elsewhere', 'server:x'),
    recording('rec2', 'page:b'),
  ];
  expect(awaitedMeters(running, known, new Set(['page:b']))).toEqual([
    { key: 'page:a', name: 'Clamp', recordingId: 'rec1' },
  ]);
});

test('a device with a new id goes on as the awaited meter of its name, unless that would be a guess', () => {
  const device = { id: 'new', name: 'Clamp' };
  const a = { key: 'page:a', name: 'Clamp', recordingId: 'rec1' };
  expect(keyFor(device, [], [a])).toBe('page:a');
  expect(keyFor(device, [], [a, { ...a, key: 'page:b' }])).toBe('page:new');
  expect(keyFor({ ...device, name: 'Other' }, [], [a])).toBe('page:new');
  expect(keyFor(device, [{ key: 'page:new', name: 'Clamp' }], [a])).toBe('page:new');
});
