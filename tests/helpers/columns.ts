import fc from 'fast-check';
import { FLOAT32, FLOAT64 } from '../../drivers/core/reading.ts';
import { columnsOf, type SampleColumns } from '../../server/samples/columns.ts';

const finite = fc.double({ noNaN: true, noDefaultInfinity: true });

/** Times as meters give them and as they must never break a store: gridded, jittered, repeated, reversed, arbitrary. */
const times = (n: number): fc.Arbitrary<number[]> =>
  fc.oneof(
    fc
      .tuple(fc.integer({ min: 0, max: 1e9 }), fc.integer({ min: 0, max: 5000 }))
      .map(([start, step]) => Array.from({ length: n }, (_, i) => start + i * step)),
    fc.array(fc.integer({ min: -2000, max: 100_000 }), { minLength: n, maxLength: n }).map((steps) =>
      steps.map(
        (
          (t) => (step) =>
            (t += step)
        )(0),
      ),
    ),
    fc.array(
      fc.integer({ min: -(2 ** 53), max: 2 ** 53 }).map((k) => k / 1000),
      {
        minLength: n,
        maxLength: n,
      },
    ),
    fc.array(finite, { minLength: n, maxLength: n }),
  );

const digits = fc.oneof(
  fc.record({
    counts: fc.oneof(
      fc.integer({ min: -20_000, max: 20_000 }),
      fc.integer({ min: Number.MIN_SAFE_INTEGER, max: Number.MAX_SAFE_INTEGER }),
      fc.constant(-0),
    ),
    scale: fc.integer({ min: -12, max: 6 }),
  }),
  fc.record({ counts: fc.float({ noNaN: true, noDefaultInfinity: true }), scale: fc.constant(FLOAT32) }),
  fc.record({ counts: finite, scale: fc.constant(FLOAT64) }),
);
const flags = fc.oneof({ weight: 4, arbitrary: fc.constant(0) }, fc.integer({ min: 0, max: 255 }));

/** Arbitrary samples of one channel, `minus zero` and floats included. */
export function anyColumns(maxLength = 60): fc.Arbitrary<SampleColumns> {
  return fc.integer({ min: 0, max: maxLength }).chain((n) => {
    const values = fc.oneof(
      fc.array(digits, { minLength: n, maxLength: n }),
      // One scale throughout, as nearly every meter does it.
      fc
        .array(fc.integer({ min: -5000, max: 5000 }), { minLength: n, maxLength: n })
        .map((all) => all.map((counts) => ({ counts, scale: -3 }))),
    );
    return fc.tuple(times(n), values, fc.array(flags, { minLength: n, maxLength: n })).map(([t, v, f]) =>
      columnsOf(
        t,
        v.map((x) => x.counts),
        v.map((x) => x.scale),
        f,
      ),
    );
  });
}
