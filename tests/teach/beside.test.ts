import { describe, expect, it } from 'vitest';
import type { Lesson } from '../../drivers/teach/examples.ts';
import { prepare } from '../../drivers/teach/examples.ts';
import { meterDescriptionSchema } from '../../drivers/teach/description.ts';
import { readFrame } from '../../drivers/teach/read.ts';
import { registerBits } from '../../drivers/teach/registers.ts';
import { teach } from '../../drivers/teach/teach.ts';
import { textOf } from '../../drivers/core/reading.ts';

/** Big-endian octets of a signed number. */
const octets = (n: number, count: number): number[] =>
  Array.from({ length: count }, (_, i) => (n >> (8 * (count - 1 - i))) & 255);
const frameOf = (...parts: number[][]): Uint8Array => Uint8Array.from([0xaa, ...parts.flat(), 0x55]);
const volts = (counts: number) => `${(counts / 100).toFixed(2)} V`;
const FIGURES = [1263, 4821, -304, 0, 2917];

describe('a frame that holds the figure twice', () => {
  const frame = (counts: number, copy = counts) => frameOf(octets(counts, 2), [0x33], octets(copy, 4));
  const result = teach(FIGURES.map((c) => ({ frame: frame(c), display: volts(c) })));

  it('is learned with one checked against the other', () => {
    expect(result.state).toBe('learned');
    expect(result.description!.copies).toHaveLength(1);
    const reading = readFrame(result.description!, frame(4444))!;
    expect(textOf(reading.counts, reading.scale)).toBe('44.44');
  });

  it('is refused where they part, whichever of them is right', () => {
    for (const bad of [frame(4444, 4445), frame(4444, 0), frame(0, 1)])
      expect(() => readFrame(result.description!, bad)).toThrow(
        expect.objectContaining({ code: 'bad-field' }),
      );
  });

  it('has a description that older ones of the same version are read beside', () => {
    const { copies: _, ...old } = result.description!;
    expect(meterDescriptionSchema.parse(old).copies).toEqual([]);
  });
});

describe('a register of the largest figure', () => {
  const frame = (counts: number, largest: number) => frameOf(octets(counts, 2), [0x33], octets(largest, 4));
  const shown = [9117, 1263, -304, 0, 2917];

  it('may stand still through the teaching and turn afterwards', () => {
    const result = teach(shown.map((c) => ({ frame: frame(c, 9117), display: volts(c) })));
    expect(result.state).toBe('learned');
    const reading = readFrame(result.description!, frame(2222, 9821))!;
    expect(textOf(reading.counts, reading.scale)).toBe('22.22');
  });

  it('is not taken for one when it once held less than was shown', () => {
    const held = [9117, 9117, 3000, 3000, 3000];
    const lesson = prepare(shown.map((c, i) => ({ frame: frame(c, held[i]!), display: volts(c) }))) as Lesson;
    const h = {
      field: { kind: 'integer', at: 1, octets: 2, order: 'big', sign: 'twos-complement' },
      mask: null,
      scale: { exponents: [-2], hidden: 0 },
      magnitude: false,
      cost: 0,
      evidence: 0,
    } as const;
    expect(registerBits(lesson, h, new Set())).toEqual([]);
  });
});

it('takes the sign of a text from its own minus, not from a bit that went along with it', () => {
  const text = (t: string) => frameOf([...t].map((c) => c.charCodeAt(0)));
  // The display cuts the last digit off; in the negative figure it happened to be the only one with bit 1 set.
  const shown = [
    [' 55.695', '55.69 V'],
    ['-44.653', '-44.65 V'],
    [' 12.115', '12.11 V'],
    [' 00.000', '0.00 V'],
    [' 83.534', '83.53 V'],
  ] as const;
  const { description } = teach(shown.map(([t, display]) => ({ frame: text(t), display })));
  const reading = readFrame(description!, text(' 55.427'))!;
  expect(reading.counts).toBeGreaterThan(0);
});
