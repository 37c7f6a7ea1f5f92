import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { bucketsOf, type Buckets } from '../../server/samples/buckets.ts';
import { columnsOf, type SampleColumns } from '../../server/samples/columns.ts';
import { decodeZoom, encodeZoom, type Zoom } from '../../server/messages/zoom.ts';
import { month } from '../bench/month.ts';
import { readZoomByTheBook } from '../helpers/zoomReader.ts';
import { seeded } from '../helpers/seeded.ts';

const QUANTITY = ['voltage', 'current', 'temperature'] as const;

function pictureOf(all: readonly SampleColumns[], fromMs: number, toMs: number, buckets: number): Zoom {
  return {
    fromS: fromMs / 1000,
    toS: toMs / 1000,
    buckets,
    channels: all.map((c, i) => ({
      channelId: 7 + i,
      quantity: QUANTITY[i % 3]!,
      exact: true,
      ...bucketsOf(c, fromMs, toMs, buckets),
    })),
  };
}

const digits = (t: readonly number[], counts: readonly number[], scale = -3): SampleColumns =>
  columnsOf(
    t,
    counts,
    t.map(() => scale),
    t.map(() => 0),
  );

/** Two channels of readings in a few thousand seconds, with gaps, at some scale. */
const anyChannel = fc
  .record({
    steps: fc.array(fc.oneof(fc.integer({ min: 0, max: 300 }), fc.integer({ min: 0, max: 200_000 })), {
      maxLength: 300,
    }),
    scale: fc.integer({ min: -6, max: 1 }),
    size: fc.constantFrom(3, 200, 40_000, 5_000_000),
    seed: fc.integer(),
  })
  .map(({ steps, scale, size, seed }) => {
    const random = seeded(seed);
    let at = 0;
    return digits(
      steps.map((s) => (at += s)),
      steps.map(() => Math.round((random() - 0.3) * size)),
      scale,
    );
  });

function same(a: Buckets, b: Buckets): void {
  expect(b.raw).toBe(a.raw);
  expect([...b.min]).toEqual([...a.min].map((x) => x + 0));
  expect([...b.max]).toEqual([...a.max].map((x) => x + 0));
  expect(b.t.length).toBe(a.t.length);
  a.t.forEach((t, i) => expect(Math.abs(t - b.t[i]!)).toBeLessThan(1e-6));
}

describe('a picture on the wire', () => {
  it('gives back every extreme with the digits of the meter, also to a reader written from ZOOM.md', () => {
    fc.assert(
      fc.property(
        fc.array(anyChannel, { maxLength: 3 }),
        fc.integer({ min: 1, max: 400 }),
        fc.integer({ min: 0, max: 60_000 }),
        fc.integer({ min: 0, max: 4_000_000 }),
        (channels, buckets, fromMs, lengthMs) => {
          const picture = pictureOf(channels, fromMs, fromMs + lengthMs, buckets);
          const bytes = encodeZoom(picture);
          const back = decodeZoom(bytes);
          const book = readZoomByTheBook(bytes);
          expect([back.fromS, back.toS, back.buckets]).toEqual([picture.fromS, picture.toS, buckets]);
          expect([book.fromS, book.toS, book.buckets]).toEqual([picture.fromS, picture.toS, buckets]);
          picture.channels.forEach((channel, i) => {
            const { channelId, quantity, exact } = back.channels[i]!;
            expect([channelId, quantity]).toEqual([channel.channelId, channel.quantity]);
            // A wide range with few buckets may have no room for every digit; peaks stay inside all the same.
            if (exact) same(channel, back.channels[i]!);
            else inside(channel, back.channels[i]!);
            const read = book.channels[i]!;
            expect([read.id, QUANTITY[read.quantity], read.raw, !read.rounded]).toEqual([
              channelId,
              quantity,
              channel.raw,
              exact,
            ]);
            expect(read.t).toEqual([...back.channels[i]!.t]);
            expect(read.min).toEqual([...back.channels[i]!.min]);
            expect(read.max).toEqual([...back.channels[i]!.max]);
          });
        },
      ),
      { seed: 11, numRuns: 150 },
    );
  });

  it('holds 2,000 buckets of two channels of a month in 16 KB, digits and all', () => {
    const { t, current, voltage } = month(400_000, 5);
    const all = [voltage, current].map((counts) => digits([...t], [...counts]));
    const random = seeded(2);
    const end = t[t.length - 1]!;
    for (let k = 0; k < 12; k++) {
      const span = Math.exp(Math.log(220_000) + random() * Math.log(end / 220_000));
      const from = Math.floor(random() * (end - span));
      const picture = pictureOf(all, from, from + span, 2000);
      const bytes = encodeZoom(picture);
      expect(bytes.length).toBeLessThanOrEqual(16_384);
      decodeZoom(bytes).channels.forEach((channel, i) => {
        expect(channel.exact).toBe(true);
        same(picture.channels[i]!, channel);
      });
    }
  });

  it('holds the wildest readings in 16 KB too, and loses no peak', () => {
    const random = seeded(8);
    const n = 40_000;
    const t = Array.from({ length: n }, (_, i) => i * 5);
    const counts = t.map(() => Math.round((random() - 0.5) * 2 ** 31));
    const picture = pictureOf([digits(t, counts), digits(t, counts, -6)], 0, n * 5, 2000);
    const bytes = encodeZoom(picture);
    expect(bytes.length).toBeLessThanOrEqual(16_384);
    decodeZoom(bytes).channels.forEach((channel, i) => {
      expect(channel.exact).toBe(false);
      inside(picture.channels[i]!, channel);
      const range = 2 ** 31 / (i === 0 ? 1e3 : 1e6);
      channel.max.forEach((high, k) =>
        expect(high - picture.channels[i]!.max[k]!).toBeLessThan(range / 1000),
      );
    });
  });

  it('rounds readings without digits of their own by less than a screen can show', () => {
    const random = seeded(4);
    const floats = Float64Array.from({ length: 3000 }, () => Math.fround(12.5 + 0.3 * random()));
    const t = floats.map((_, i) => i / 10);
    for (const raw of [true, false]) {
      const high = raw ? floats : floats.map((y) => y + 0.01);
      const channel = { raw, t: t.map((s) => s + 0.05), min: floats, max: high };
      const back = decodeZoom(
        encodeZoom({
          fromS: 0,
          toS: 300,
          buckets: 3000,
          channels: [{ channelId: 1, quantity: 'voltage', exact: true, ...channel }],
        }),
      ).channels[0]!;
      expect(back.exact).toBe(false);
      back.min.forEach((y, i) => expect(Math.abs(y - floats[i]!)).toBeLessThan(0.31 / 2 ** 15));
      if (!raw) inside(channel, back);
    }
  });

  it('is as described, octet by octet', () => {
    const zoom: Zoom = {
      fromS: 0,
      toS: 8,
      buckets: 4,
      channels: [
        {
          channelId: 3,
          quantity: 'current',
          exact: true,
          raw: false,
          t: Float64Array.of(1, 5),
          min: Float64Array.of(0.02, 0.019),
          max: Float64Array.of(0.025, 0.019),
        },
      ],
    };
    expect(Buffer.from(encodeZoom(zoom)).toString('hex')).toBe(
      [
        '4e5a 01 01', // "NZ", version 1, one channel
        '0000000000000000 0000000000002040 04', // 0 to 8 s in four buckets
        '03 01 00 02', // channel 3, current, not raw and not rounded, two entries
        '03 01 01 01', // three runs: one bucket filled, one empty, one filled
        '05 01 05', // scale -3, step 1, five octets of bits
        // shift 4: 20 as 40 = 110 0001 (low bits first); shift 0: -1 as 1 = 10; shift 2: 5 = 10 10; shift 63: 0
        'c41028d81f',
      ]
        .join('')
        .replaceAll(' ', ''),
    );
  });

  it('refuses what is cut, longer or of another version', () => {
    const bytes = encodeZoom(pictureOf([digits([0, 5, 9], [25, 26, 24])], 0, 10, 2));
    for (let end = 0; end < bytes.length; end++)
      expect(() => decodeZoom(bytes.subarray(0, end))).toThrow(RangeError);
    expect(() => decodeZoom(Uint8Array.from([...bytes, 0]))).toThrow(RangeError);
    expect(() => decodeZoom(Uint8Array.from(bytes, (b, i) => (i === 2 ? 2 : b)))).toThrow(RangeError);
  });
});

/** What comes back reaches at least as far down and up. */
function inside(channel: Buckets, back: Buckets): void {
  expect(back.t.length).toBe(channel.t.length);
  channel.min.forEach((low, i) => expect(back.min[i]!).toBeLessThanOrEqual(low));
  channel.max.forEach((high, i) => expect(back.max[i]!).toBeGreaterThanOrEqual(high));
}
