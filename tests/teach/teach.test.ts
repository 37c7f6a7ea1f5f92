import { describe, expect, it } from 'vitest';
import { FLAG, textOf, type Reading } from '../../drivers/core/reading.ts';
import type { MeterDescription } from '../../drivers/teach/description.ts';
import { readFrame } from '../../drivers/teach/read.ts';
import { teach, type TeachingGlance, type TeachResult } from '../../drivers/teach/teach.ts';
import { fromHex } from '../helpers/hex.ts';

const glances = (rows: readonly (readonly [string, string])[]): TeachingGlance[] =>
  rows.map(([hex, display]) => ({ frame: fromHex(hex), display }));

const int16 = (n: number): string => Buffer.from([n & 255, (n >> 8) & 255]).toString('hex');

function learned(result: TeachResult): MeterDescription {
  expect(result.reasons.join(' '), 'state').not.toContain('encodings explain');
  expect(result.state).toBe('learned');
  return result.description!;
}

function shown(description: MeterDescription, hex: string): string {
  const reading: Reading | null = readFrame(description, fromHex(hex));
  if (!reading) return 'nothing';
  const flags = Object.entries(FLAG).flatMap(([name, bit]) => (reading.flags & bit ? [name] : []));
  return [textOf(reading.counts, reading.scale), reading.quantity, ...flags].join(' ');
}

const refused = (description: MeterDescription, hex: string) => () => readFrame(description, fromHex(hex));

describe('a meter with signed millivolts', () => {
  const frame = (millivolts: number, tail = '00') => `aa55${int16(millivolts)}${tail}`;
  const shownFive = [
    [frame(12630), '12.63 V'],
    [frame(12481), '12.48 V'],
    [frame(-304), '-0.30 V'],
    [frame(0), '0.00 V'],
    [frame(9127), '9.13 V'],
  ] as const;

  it('is learned from five glances, with the digit that its display does not show', () => {
    const result = teach(glances(shownFive));
    const description = learned(result);
    expect(result.fits).toBe(1);
    expect(description.value).toEqual({
      kind: 'integer',
      at: 2,
      octets: 2,
      order: 'little',
      sign: 'twos-complement',
    });
    expect(shown(description, frame(12607))).toBe('12.607 voltage');
    expect(shown(description, frame(-1))).toBe('-0.001 voltage');
  });

  it('refuses what was not shown: a changed bit, another length, the end codes', () => {
    const description = learned(teach(glances(shownFive)));
    expect(refused(description, frame(12630, '01'))).toThrow(expect.objectContaining({ code: 'bad-field' }));
    expect(refused(description, 'aa55563100ff')).toThrow(expect.objectContaining({ code: 'wrong-length' }));
    expect(refused(description, 'aa55ff7f00')).toThrow(expect.objectContaining({ code: 'bad-field' }));
    expect(refused(description, 'aa55008000')).toThrow(expect.objectContaining({ code: 'bad-field' }));
  });

  it('is not learned from figures that are too alike', () => {
    const result = teach(glances([12630, 12631, 12630, 12632, 12630].map((n) => [frame(n), '12.63 V'])));
    expect(result).toMatchObject({ state: 'ambiguous', description: null });
    expect(result.nextGlance).toMatch(/clearly different/);
  });

  it('names the glance that was read at the wrong moment', () => {
    const result = teach(glances(shownFive.map(([f, d], i) => [f, i === 1 ? '12.63 V' : d])));
    expect(result).toMatchObject({ state: 'none', fits: 0, description: null });
    expect(result.reasons.join(' ')).toContain('Without glance 2');
  });
});

// The generic meter chips' frames; layouts and the first, second and third frame of each as in their data sheets.
describe('the LCD-segment frame', () => {
  const rows = [
    ['1720 35455B697F8297A0B0C0D4E0', '12.34 V'],
    ['172F3D45 5B637E8F9EA0B8C0D8E0', '-25.6 mA'],
    ['1727 3D405569 7B8B97A0B0C0D4E0', '-'],
  ] as const;
  /** The same layout written from its data sheet's table, for figures beyond the printed ones. */
  const DIGITS = [0x7d, 0x05, 0x5b, 0x1f, 0x27, 0x3e, 0x7e, 0x15, 0x7f, 0x3f];
  const lcd = (digits: string, point: number, minus: boolean, low: readonly number[], first = 7): string => {
    const octets = [first];
    [...digits].forEach((c, i) => {
      const code = c === ' ' ? 0 : c === 'L' ? 0x68 : DIGITS[Number(c)]!;
      const mark = i === 0 ? minus : point === i;
      octets.push((code >> 4) | (mark ? 8 : 0), code & 15);
    });
    octets.push(...low);
    return octets.map((low4, i) => (((i + 1) << 4) | low4).toString(16)).join('');
  };
  const VOLT = [0, 0, 0, 4, 0];
  const MILLIAMP = [0, 8, 0, 8, 0];
  const held = [0, 0, 1, 4, 0];

  it('is written here as its data sheet has it', () => {
    expect(lcd('1234', 2, false, VOLT)).toBe(fromHexText(rows[0][0]));
    expect(lcd('0256', 3, true, MILLIAMP, 5)).toBe('152f3d455b637e8f9ea0b8c0d8e0');
  });

  const lesson = [
    [lcd('1234', 2, false, VOLT), '12.34 V'],
    [lcd('0256', 3, true, MILLIAMP), '-25.6 mA'],
    [lcd('0879', 2, false, VOLT), '8.79 V'],
    [lcd('0000', 2, false, VOLT), '0.00 V'],
    [lcd('1058', 3, false, MILLIAMP), '105.8 mA'],
    [lcd('0307', 2, true, VOLT), '-3.07 V'],
    [lcd('0947', 3, false, MILLIAMP), '94.7 mA'],
    [lcd('1263', 2, false, held), '12.63 V HOLD'],
    [lcd('00L ', 9, false, VOLT), 'OL V'],
  ] as const;

  it('is learned, with its point, sign, unit, HOLD and over-range', () => {
    const description = learned(teach(glances(lesson)));
    expect(description.value.kind).toBe('segments');
    expect(shown(description, lcd('1485', 2, false, VOLT))).toBe('14.85 voltage');
    expect(shown(description, lcd('0256', 3, true, MILLIAMP))).toBe('-0.0256 current');
    expect(shown(description, lcd('1263', 2, false, held))).toBe('12.63 voltage hold');
    expect(shown(description, lcd('00L ', 9, false, VOLT))).toBe('0 voltage overload');
  });

  it('is refused with a unit, a point or a sign that was not shown', () => {
    const description = learned(teach(glances(lesson)));
    for (const hex of [
      lcd('1234', 2, false, [0, 0, 4, 0, 0]), // ohms
      lcd('1234', 1, false, VOLT),
      lcd('1234', 2, false, [0, 8, 0, 4, 0]), // millivolts
      lcd('1234', 2, false, [0, 0, 2, 4, 0]), // REL
    ]) {
      expect(refused(description, hex)).toThrow(expect.objectContaining({ code: 'bad-field' }));
    }
  });

  it('is learned under a mask of its own for each octet', () => {
    const mask = fromHex('415c93a1e70bb21d6f4ed00f7788');
    const under = (hex: string) =>
      Buffer.from(fromHex(hex).map((octet, i) => octet ^ mask[i]!)).toString('hex');
    const description = learned(teach(glances(lesson.map(([hex, display]) => [under(hex), display]))));
    expect(shown(description, under(lcd('1485', 2, false, VOLT)))).toBe('14.85 voltage');
    expect(shown(description, under(lcd('0256', 3, true, MILLIAMP)))).toBe('-0.0256 current');
  });
});

function fromHexText(text: string): string {
  return text.replaceAll(' ', '').toLowerCase();
}

describe('the ASCII frame', () => {
  const POINT = ['0', '4', '2', '1'];
  const ascii = (sign: string, digits: string, decimals: number, flags: readonly number[]) =>
    Buffer.from(`${sign}${digits} ${POINT[decimals]}`, 'latin1').toString('hex') +
    Buffer.from([...flags, 0x0d, 0x0a]).toString('hex');
  const volt = [0x30, 0, 0, 0x80, 0];
  const milliamp = [0x10, 0, 0x40, 0x40, 0];

  it('is written here as its data sheet has it', () => {
    expect(ascii('+', '1234', 2, volt)).toBe('2b313233342032300000800d0a'.replace('800d', '80000d'));
    expect(ascii('-', '0256', 1, milliamp)).toBe('2d303235362034100040' + '40000d0a');
  });

  const lesson = [
    [ascii('+', '1234', 2, volt), '12.34 V'],
    [ascii('-', '0256', 1, milliamp), '-25.6 mA'],
    [ascii('+', '0987', 2, volt), '9.87 V'],
    [ascii('+', '0000', 2, volt), '0.00 V'],
    [ascii('-', '1105', 2, volt), '-11.05 V'],
    [ascii('+', '0431', 1, milliamp), '43.1 mA'],
    [ascii('+', '?0:?', 2, volt), 'OL V'],
  ] as const;

  it('is learned', () => {
    const description = learned(teach(glances(lesson)));
    expect(shown(description, ascii('-', '1263', 2, volt))).toBe('-12.63 voltage');
    expect(shown(description, ascii('-', '0256', 1, milliamp))).toBe('-0.0256 current');
    expect(shown(description, ascii('+', '?0:?', 2, volt))).toBe('0 voltage overload');
    expect(refused(description, ascii('+', '1234', 3, volt))).toThrow();
  });
});

describe('what cannot be saved yet', () => {
  it('a unit that was shown with zero only', () => {
    const frame = (n: number, mode: number) => `${int16(n)}${mode === 0 ? '10' : '20'}`;
    const result = teach(
      glances([
        [frame(1263, 0), '12.63 V'],
        [frame(842, 0), '8.42 V'],
        [frame(1107, 0), '11.07 V'],
        [frame(-295, 0), '-2.95 V'],
        [frame(0, 1), '0.0 mA'],
      ]),
    );
    expect(result).toMatchObject({ state: 'ambiguous', description: null });
    expect(result.nextGlance).toBe('a figure other than zero in mA with 1 decimals');
  });

  it('HOLD that the frame does not show', () => {
    const result = teach(
      glances([
        [int16(1263), '12.63 V'],
        [int16(842), '8.42 V'],
        [int16(1107), '11.07 V'],
        [int16(-295), '-2.95 V'],
        [int16(1377), '13.77 V HOLD'],
      ]),
    );
    expect(result.state).toBe('ambiguous');
    expect(result.reasons.join(' ')).toContain('HOLD');
  });

  it('a figure of which the frame holds two, until they part', () => {
    const frame = (now: number, most: number) => `${int16(now)}00${int16(most)}`;
    const rising = [101, 512, 633, 947, 1263].map((n) => [frame(n, n), `${(n / 100).toFixed(2)} V`] as const);
    const first = teach(glances(rising));
    expect(first).toMatchObject({ state: 'ambiguous', fits: 2 });
    expect(first.nextGlance).not.toBeNull();
    const falling = [...rising, [frame(305, 1263), '3.05 V'] as const];
    expect(shown(learned(teach(glances(falling))), frame(1111, 1263))).toBe('11.11 voltage');
  });

  it('a sign that came only together with another unit', () => {
    const frame = (n: number, flags: string) => `${int16(n)}${flags}`;
    const result = teach(
      glances([
        [frame(1263, '10'), '12.63 V'],
        [frame(842, '10'), '8.42 V'],
        [frame(1107, '10'), '11.07 V'],
        [frame(295, '23'), '-29.5 mA'],
        [frame(713, '23'), '-71.3 mA'],
      ]),
    );
    expect(result.state).toBe('ambiguous');
    expect(result.nextGlance).toBe('a positive and a negative figure, both in mA with the same decimals');
  });

  it.each([
    [[], 'No glance'],
    [[['0102', 'twelve']], 'Glance 1: "twelve"'],
    [
      [
        ['0102', '1.2 V'],
        ['010203', '1.2 V'],
      ],
      'Glance 2: the frame has 3 octets',
    ],
    [
      [
        ['0102', '1.2 V'],
        ['0102', '1.2 mA'],
        ['0102', '1.2'],
      ],
      'Glance 3: type the unit',
    ],
  ] as const)('%j', (rows, sentence) => {
    const result = teach(glances(rows));
    expect(result).toMatchObject({ state: 'none', fits: 0, description: null });
    expect(result.reasons.join(' ')).toContain(sentence);
  });
});

describe('checksums', () => {
  const framed = (n: number, counter: number): string => {
    const octets = [0x5a, ...fromHex(int16(n)), counter];
    return Buffer.from([...octets, octets.reduce((a, b) => (a + b) & 255)]).toString('hex');
  };
  const figures = [1263, -842, 1107, 0, 905, 1377];

  it('are found and refuse bad frames', () => {
    const rows = figures.map((n, i) => [framed(n, 17 * i + 3), `${(n / 100).toFixed(2)} V`] as const);
    const description = learned(teach(glances(rows)));
    expect(description.checksum).toMatchObject({ kind: 'sum', at: 4, from: 0, to: 4 });
    expect(shown(description, framed(1234, 9))).toBe('12.34 voltage');
    const bad = fromHex(framed(1234, 9));
    bad[1]! ^= 1;
    expect(() => readFrame(description, bad)).toThrow(expect.objectContaining({ code: 'bad-field' }));
  });
});
