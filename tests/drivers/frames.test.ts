import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { asciiDigits } from '../../drivers/meters/ascii-digits/framing.ts';
import { decodeAscii, encodeAscii } from '../../drivers/meters/ascii-digits/frame.ts';
import { lcdSegments } from '../../drivers/meters/lcd-segments/framing.ts';
import { decodeLcd, encodeLcd } from '../../drivers/meters/lcd-segments/frame.ts';
import { decodePresented } from '../../drivers/core/presentation.ts';
import { decodeLine, decodeNumber, encodeNumber } from '../../drivers/meters/text-lines/frame.ts';
import { textLines } from '../../drivers/meters/text-lines/framing.ts';
import { fromHex, toHex } from '../helpers/hex.ts';

describe('14-octet display segments', () => {
  // Constructed from the layout of a public data sheet.
  it.each([
    ['1720354 55B697F8297A0B0C0D4E0', '1234', false, 2, ['auto', 'dc', 'rs232', 'volt']],
    ['152F3D45 5B637E8F9EA0B8C0D8E0', '0256', true, 3, ['ampere', 'dc', 'milli', 'rs232']],
    ['132030475D667880 90A0B0C4D0E0', ' 0L ', false, null, ['auto', 'ohm', 'rs232']],
  ])('%s', (hex, digits, minus, pointAfter, signs) => {
    const bytes = fromHex(hex);
    const frame = decodeLcd(bytes);
    expect(frame).toMatchObject({ digits, minus, pointAfter });
    expect([...frame.signs].sort()).toEqual(signs);
    expect(encodeLcd(frame)).toEqual(bytes);
  });

  it.each([
    ['two prefixes', (b: Uint8Array) => (b[9]! |= 0x0a)],
    ['two quantities', (b: Uint8Array) => (b[12]! |= 0x08)],
    ['AC and DC at once', (b: Uint8Array) => (b[0]! |= 0x08)],
    ['no mark', (b: Uint8Array) => (b[0]! &= 0xfe)],
    ['octets out of order', (b: Uint8Array) => (b[3] = 0x55)],
    ['a digit that is none', (b: Uint8Array) => (b[2] = 0x3f & 0x31)],
    ['two points', (b: Uint8Array) => (b[7]! |= 0x08)],
  ])('refuses %s', (_what, spoil) => {
    const bytes = fromHex('17203545 5B697F8297A0B0C0D4E0');
    spoil(bytes);
    expect(() => decodeLcd(bytes)).toThrow(expect.objectContaining({ code: 'bad-field' }));
  });
});

describe('14-octet ASCII digits', () => {
  it.each([
    ['2B31323334203230000080000D0A', '1234', false, 2, ['auto', 'dc', 'volt']],
    ['2D30323536203410004040000D0A', '0256', true, 1, ['ampere', 'dc', 'milli']],
    ['2B3F303A3F203130000020000D0A', '?0:?', false, 3, ['auto', 'dc', 'ohm']],
  ])('%s', (hex, digits, minus, decimals, flags) => {
    const bytes = fromHex(hex);
    const frame = decodeAscii(bytes);
    expect(frame).toMatchObject({ digits, minus, decimals });
    expect([...frame.flags].sort()).toEqual(flags);
    expect(toHex(encodeAscii(frame))).toBe(hex.toLowerCase());
  });

  it('refuses a point code that no chip uses, and AC with DC', () => {
    const bytes = fromHex('2B31323334203230000080000D0A');
    bytes[6] = 0x33;
    expect(() => decodeAscii(bytes)).toThrow(expect.objectContaining({ code: 'bad-field' }));
    bytes[6] = 0x32;
    bytes[7] = 0x38;
    expect(() => decodeAscii(bytes)).toThrow(expect.objectContaining({ code: 'bad-field' }));
  });
});

describe('numbers of IEEE 488.2', () => {
  // Examples of the standard: NR1 8.7.2, NR2 8.7.3, NR3 8.7.4.
  it.each([
    ['146', 146],
    ['+146', 146],
    ['-12345', -12345],
    ['12.3', 12.3],
    ['+1.2345', 1.2345],
    ['-0.123', -0.123],
    ['1.23E+6', 1.23e6],
    ['123.4E-54', 123.4e-54],
    ['-1234.567E+90', -1234.567e90],
    ['+1.2630E+01', 12.63],
    ['-2.5E-02', -0.025],
  ])('%s', (text, value) => {
    const { counts, scale } = decodeNumber(text);
    expect(Number(`${counts}e${scale}`)).toBe(value);
  });

  it('keeps the digits of the display', () => {
    expect(decodeNumber('+1.2630E+01')).toEqual({ counts: 12630, scale: -3 });
    expect(decodeNumber('12.630')).toEqual({ counts: 12630, scale: -3 });
  });

  it('re-encodes what it decoded', () => {
    fc.assert(
      fc.property(
        fc.integer({ min: -999999, max: 999999 }),
        fc.integer({ min: -12, max: 6 }),
        (counts, scale) => {
          expect(decodeNumber(encodeNumber({ counts, scale }))).toEqual({ counts, scale });
        },
      ),
    );
  });

  it.each(['', '+', '.', '1.2.3', '1e', 'E5', '12a', '0x10', '1234567890123456', '1E999'])(
    'refuses "%s"',
    (text) => {
      expect(() => decodeNumber(text)).toThrow(expect.objectContaining({ code: 'bad-field' }));
    },
  );

  // SCPI-99 7.2.1: not a number is 9.91E37, infinity 9.9E37. Never a figure.
  it.each([
    ['9.91E37', 'no-reading'],
    ['+9.91000000E+37', 'no-reading'],
    ['9.9E37', 'over-range'],
    ['-9.90000000E+37', 'over-range'],
    ['OL V', 'over-range'],
  ])('%s is %s', (text, outcome) => {
    expect(decodeLine(text).number).toBe(outcome);
  });

  it('takes a bare number for what the technician said it is', () => {
    const lines = new TextEncoder().encode('+1.2630E+01\n');
    expect(textLines('voltage').create().push(lines)).toEqual([
      { quantity: 'voltage', counts: 12630, scale: -3, flags: 0 },
    ]);
    expect(textLines().create().push(lines)).toEqual([null]);
  });

  it('does not keep an endless line', () => {
    const framer = textLines().create();
    expect(() => framer.push(new Uint8Array(1000).fill(0x41))).toThrow(
      expect.objectContaining({ code: 'wrong-length' }),
    );
  });
});

describe('a figure beyond any meter', () => {
  const line = (text: string) =>
    textLines()
      .create()
      .push(Uint8Array.from(Buffer.from(`${text}\n`)));
  it('is refused however it is written', () => {
    const absurd = expect.objectContaining({ name: 'DriverError', code: 'bad-field' }) as Error;
    expect(() => line('1.0E+12 V')).toThrow(absurd);
    expect(() => line('9999999 kV')).toThrow(absurd);
    expect(line('99999 V')).toHaveLength(1);
    const described = (format: number, hex: string) =>
      decodePresented({ format, exponent: 9, unit: 0x2728, namespace: 1, description: 0 }, fromHex(hex));
    expect(() => described(20, 'ffff7f7f')).toThrow(absurd); // float32, 3.4e38
    expect(() => described(14, 'ff7f')).toThrow(absurd); // sint16, 32767 x 10^9
    expect(() => described(23, '0100000a')).toThrow(absurd); // medfloat32, 1 x 10^10
    expect(described(23, '01000009')).toMatchObject({ counts: 1, scale: 9 });
  });
});

describe('framings do not mistake each other', () => {
  const lcd = fromHex('1720354 55B697F8297A0B0C0D4E0');
  const ascii = fromHex('2B31323334203230000080000D0A');
  it('each framing finds no frame in the other', () => {
    expect(asciiDigits.create().push(lcd)).toEqual([]);
    expect(lcdSegments.create().push(ascii)).toEqual([]);
    expect(() => textLines().create().push(ascii)).toThrow();
  });
});
