import fc from 'fast-check';
import { FLOAT32, FLOAT64 } from '../../drivers/core/reading.ts';
import type { InstantChannel, Instants } from '../../server/samples/instants.ts';
import { shareTimes } from '../../server/samples/merge.ts';
import { anyColumns } from './columns.ts';

/** Everything in a block as bits, so that minus zero and the last bit of a float count. */
export function bits({ t, channels }: Instants): ArrayBufferView[] {
  const doubles = (x: Float64Array) => new BigUint64Array(x.slice().buffer);
  return [
    doubles(t),
    ...channels.flatMap(({ rows, counts, scale, flags }) => [
      rows ?? new Uint32Array(),
      doubles(counts),
      scale.slice(),
      flags.slice(),
    ]),
  ];
}

/** Arbitrary blocks of up to four channels, some with samples missing. */
export function anyInstants(): fc.Arbitrary<Instants> {
  return fc
    .tuple(anyColumns(200), fc.array(fc.double({ min: 0, max: 1, noNaN: true }), { maxLength: 3 }))
    .map(([c, parts]) => {
      const others = parts.map((part, k) => {
        const keep = (_: number, i: number) => ((i * 7919 + k * 31) % 97) / 97 <= part;
        const t = c.t.filter(keep);
        return {
          length: t.length,
          t,
          counts: c.counts.filter(keep),
          scale: c.scale.filter(keep),
          flags: c.flags.filter(keep),
        };
      });
      return shareTimes([c, ...others])[0]?.instants ?? { length: 0, t: new Float64Array(), channels: [] };
    });
}

type Random = () => number;
const N = 3000;

function channel(count: (i: number) => number, scale = -3, n = N): InstantChannel {
  const counts = Float64Array.from({ length: n }, (_, i) => count(i));
  return { rows: null, counts, scale: new Int8Array(n).fill(scale), flags: new Uint16Array(n) };
}

function at(time: (i: number) => number, ...channels: InstantChannel[]): Instants {
  return { length: N, t: Float64Array.from({ length: N }, (_, i) => time(i)), channels };
}

const noise = (random: Random) => random() + random() + random() - 1.5;

/** Long runs as meters, clocks and radios make them, and as none should. */
export const awkward: Readonly<Record<string, (random: Random) => Instants>> = {
  'radio jitter, one level': (r) =>
    at(
      (i) => i * 100 + Math.floor(30 * r()),
      channel(() => 22 + Math.round(noise(r))),
    ),
  microseconds: (r) =>
    at(
      (i) => (i * 100_003 + Math.floor(30_000 * r())) / 1000,
      channel(() => 12_600 + Math.round(noise(r))),
    ),
  'constant in all': () =>
    at(
      (i) => i * 5,
      channel(() => 7),
      channel(() => 0),
    ),
  'levels and pulses': (r) =>
    at(
      (i) => i * 5 + Math.floor(3 * r()),
      channel((i) => (i > 900 ? 40 : 4000) + (i % 160 < 12 ? 350 : 0) + Math.round(noise(r))),
    ),
  'steps of the clock': (r) =>
    at(
      (i) => i * 100 + (i > 1000 ? -5000 : 0) + (i > 2000 ? 3_600_000 : 0) + Math.floor(9 * r()),
      channel((i) => i),
    ),
  'repeated and reversed times': (r) =>
    at(
      (i) => Math.floor(i / 4) * 100 - (i % 50 === 3 ? 900 : 0),
      channel(() => Math.floor(r() * 5)),
    ),
  bursts: (r) =>
    at(
      (i) => Math.floor(i / 10) * 1000 + (i % 10),
      channel(() => Math.floor(r() * 1e6)),
    ),
  'huge and small counts in turn': (r) =>
    at(
      (i) => i,
      channel((i) => (i % 500 === 0 ? 8_000_000 : 0) - Math.floor(r() * 3)),
    ),
  'counts beyond 32 bits': (r) =>
    at(
      (i) => i * 10,
      channel(() => Math.round((r() - 0.5) * 2 ** 48)),
    ),
  'counts beyond 49 bits': (r) =>
    at(
      (i) => i * 10,
      channel(() => Math.round((r() - 0.5) * 2 ** 53)),
    ),
  'floats of 32 bits': (r) =>
    at(
      (i) => i * 250,
      channel(() => Math.fround(r() * 13), FLOAT32),
    ),
  'floats of 64 bits, minus zero': (r) =>
    at(
      (i) => i * 250,
      channel((i) => (i % 9 === 0 ? -0 : r()), FLOAT64),
    ),
  'times of no grid': (r) =>
    at(
      () => (r() - 0.5) * 1e15,
      channel(() => 1),
    ),
  'changing exponents and flags': (r) => {
    const c = channel(() => Math.round(1000 * r()));
    for (let i = 0; i < N; i++) {
      c.scale[i] = i % 700 < 350 ? -3 : -2;
      c.flags[i] = i % 40 === 0 ? 1 << Math.floor(r() * 8) : 0;
    }
    return at(
      (i) => i * 100,
      c,
      channel(() => 12_600),
    );
  },
  'samples missing': (r) => {
    const rows = Uint32Array.from({ length: N }, (_, i) => i).filter(() => r() < 0.9);
    const sparse = channel(() => Math.round(noise(r)), -3, rows.length);
    return at(
      (i) => i * 100 + Math.floor(30 * r()),
      channel(() => 5),
      { ...sparse, rows },
    );
  },
};
