import { expect, test } from 'vitest';
import { FLAG } from '../../../drivers/core/reading.ts';
import type { SessionReading } from '../../../drivers/session/types.ts';
import { readingsSchema, type Readings } from '../../../server/messages/socket.ts';
import { OwnReadings } from '../../../web/sync/ownReadings.ts';
import { ManualClock } from '../../helpers/manualClock.ts';

function bench(toServerMs: (pageMs: number) => number | null = (ms) => ms + 1e6) {
  const clock = new ManualClock();
  const told: Readings[] = [];
  const own = new OwnReadings('page:m', clock, toServerMs, (readings) =>
    told.push(readingsSchema.parse(readings)),
  );
  const add = (counts: number, flags = 0): void => own.add([reading(clock.nowMs(), counts, flags)]);
  return { clock, told, add, own };
}

const reading = (atMs: number, counts: number, flags: number): SessionReading => ({
  key: 'v',
  atMs,
  reading: { quantity: 'voltage', counts, scale: -3, flags },
});

test('a fast meter is shown ten times a second, with every reading', async () => {
  const { clock, told, add } = bench();
  for (let ms = 0; ms < 1000; ms += 5) {
    add(12_000 + ms);
    await clock.advance(5);
  }
  await clock.advance(200);
  expect(told.length).toBeLessThanOrEqual(12);
  expect(told.flatMap((r) => r.channels[0]!.value)).toEqual(
    Array.from({ length: 200 }, (_, i) => (12_000 + 5 * i) / 1000),
  );
});

test('the last reading before a pause is shown too, with its digits and on the server clock', async () => {
  const { clock, told, add } = bench();
  add(12_600);
  await clock.advance(10);
  add(12_610);
  await clock.advance(1000);
  expect(told.at(-1)!.channels[0]).toEqual({
    key: 'v',
    quantity: 'voltage',
    t: [1_000_010],
    value: [12.61],
    text: '12.610',
    flags: [0],
  });
});

test('what is not live has no value, and an overload no digits', () => {
  const { told, add } = bench();
  add(12_600, FLAG.hold);
  expect(told[0]!.channels[0]).toMatchObject({ value: [null], text: '12.600', flags: [FLAG.hold] });
  const other = bench();
  other.add(0, FLAG.overload);
  expect(other.told[0]!.channels[0]).toMatchObject({ value: [null], text: '' });
});

test('a flood is thinned to its newest, so that the message stays within its limits', async () => {
  const { clock, told, own } = bench();
  own.add([reading(0, 0, 0)]);
  own.add(Array.from({ length: 10_000 }, (_, i) => reading(1 + i / 1000, i, 0)));
  await clock.advance(1000);
  expect(told[1]!.channels[0]!.t).toHaveLength(2000);
  expect(told[1]!.channels[0]!.value.at(-1)).toBe(9.999);
});

test('nothing is shown until the clocks are matched', async () => {
  const { clock, told, add } = bench(() => null);
  add(12_600);
  await clock.advance(1000);
  expect(told).toEqual([]);
});
