import fc from 'fast-check';
import { expect, test } from 'vitest';
import { ByteText } from '../../server/samples/byteText.ts';
import { numberText, secondsText } from '../../server/samples/text.ts';

const written = (write: (out: ByteText) => void) => {
  const out = new ByteText(8);
  write(out);
  return Buffer.from(out.take()).toString();
};
const edges = fc.constantFrom(0, -0, 1, -1, 9, 10, 999, 1000, 2 ** 31 - 1, 2 ** 31, -(2 ** 31), 2 ** 53, 0.5);
const counts = fc.oneof(
  fc.integer(),
  fc.integer({ min: -20_000, max: 20_000 }),
  edges,
  fc.double({ noNaN: true }),
);

test('numbers are written as the obvious text', () => {
  fc.assert(
    fc.property(counts, fc.integer({ min: -128, max: 127 }), (x, scale) => {
      expect(written((out) => out.number(x, scale))).toBe(numberText(x, scale));
      const usual = -(Math.abs(scale) % 12);
      expect(written((out) => out.number(x, usual))).toBe(numberText(x, usual));
    }),
    { seed: 41, numRuns: 5000 },
  );
});

test('so are times', () => {
  const month = fc.integer({ min: 0, max: 31 * 86_400_000 });
  const ms = fc.oneof(
    month,
    edges,
    fc.double({ noNaN: true, noDefaultInfinity: true }),
    fc.integer().map((k) => k / 1000),
  );
  fc.assert(
    fc.property(ms, (t) => {
      expect(written((out) => out.seconds(t))).toBe(secondsText(t));
    }),
    { seed: 42, numRuns: 5000 },
  );
});

test('what is written grows out of its buffer and is taken once', () => {
  const out = new ByteText(4);
  out.octets(Buffer.from('µA, '));
  out.ascii('some more');
  out.byte(0x0a);
  out.number(-12_630, -3);
  expect(Buffer.from(out.take()).toString()).toBe('µA, some more\n-12.630');
  expect(out.take()).toHaveLength(0);
});
