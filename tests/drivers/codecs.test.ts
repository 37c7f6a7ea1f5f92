import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { decodeSigned, decodeUnsigned, encodeInteger } from '../../drivers/core/integers.ts';
import {
  decodeFloat,
  decodeSfloat,
  encodeFloat,
  encodeSfloat,
  type MedFloat,
} from '../../drivers/core/medfloat.ts';
import { decodeTimeExponential, encodeTimeExponential } from '../../drivers/core/timeExponential.ts';
import { canonicalUuid, shortOf, uuid16 } from '../../drivers/core/uuid.ts';
import { ELECTRICAL_FIELDS } from '../../drivers/meters/sig-electrical/fields.ts';
import { decodeEnergyStatus, encodeEnergyStatus } from '../../drivers/meters/sig-electrical/energyStatus.ts';
import { decodeElectrical, encodeElectrical } from '../../drivers/meters/sig-electrical/frame.ts';
import {
  decodePresentationFormat,
  decodePresented,
  encodePresentationFormat,
  encodePresented,
} from '../../drivers/core/presentation.ts';
import { fromHex, toHex } from '../helpers/hex.ts';
import { meterCases } from '../helpers/meterCase.ts';

const number = (mantissa: number, exponent: number): MedFloat => ({ kind: 'number', mantissa, exponent });

describe('IEEE 11073-20601 floats', () => {
  // Raw codes and values as the SIG's and IEEE's own documents print them; the last of each computed.
  const sfloats: [number, MedFloat][] = [
    [0x0072, number(114, 0)],
    [0xf3cf, number(975, -1)],
    [0x1064, number(100, 1)],
    [0x0ff6, number(-10, 0)],
    [0x07ff, { kind: 'nan' }],
    [0x0800, { kind: 'nres' }],
    [0x07fe, { kind: '+inf' }],
    [0x0802, { kind: '-inf' }],
    [0xe4ef, number(1263, -2)],
    [0xd032, number(50, -3)],
  ];
  const floats: [number, MedFloat][] = [
    [0xff00016c, number(364, -1)],
    [0xfe000d97, number(3479, -2)],
    [0x00ffffff, number(-1, 0)],
    [0x007fffff, { kind: 'nan' }],
    [0x00800000, { kind: 'nres' }],
    [0x007ffffe, { kind: '+inf' }],
    [0x00800002, { kind: '-inf' }],
    [0xfd00313f, number(12607, -3)],
  ];
  it.each(sfloats)('SFLOAT %i', (raw, value) => {
    const bytes = encodeInteger(raw, 2, false);
    expect(decodeSfloat(bytes)).toEqual(value);
    expect(encodeSfloat(value)).toEqual(bytes);
  });
  it.each(floats)('FLOAT %i', (raw, value) => {
    const bytes = encodeInteger(raw, 4, false);
    expect(decodeFloat(bytes)).toEqual(value);
    expect(encodeFloat(value)).toEqual(bytes);
  });
  it('refuses the reserved codes', () => {
    expect(() => decodeSfloat(encodeInteger(0x0801, 2, false))).toThrow(
      expect.objectContaining({ code: 'bad-field' }),
    );
    expect(() => decodeFloat(encodeInteger(0x00800001, 4, false))).toThrow(
      expect.objectContaining({ code: 'bad-field' }),
    );
  });
  it('re-encodes every one of the 65,536 SFLOATs to itself', () => {
    for (let raw = 0; raw < 0x10000; raw++) {
      if (raw === 0x0801) continue;
      const bytes = encodeInteger(raw, 2, false);
      expect(encodeSfloat(decodeSfloat(bytes))).toEqual(bytes);
    }
  });
});

describe('Time Exponential 8', () => {
  // GATT Specification Supplement: 1.1^(N-64) s.
  it.each([
    [0x40, 1.0],
    [0x58, 9.84973],
    [0x6b, 60.24007],
    [0x96, 3628.866],
    [0xb0, 43249.46],
    [0xfd, 66560641],
    [0x00, 0],
  ])('code %i', (code, seconds) => {
    const time = decodeTimeExponential(code);
    expect(time).toHaveProperty('seconds');
    if (typeof time === 'object') expect(time.seconds / (seconds || 1)).toBeCloseTo(seconds ? 1 : 0, 6);
  });
  it('re-encodes all 256 codes', () => {
    for (let code = 0; code < 256; code++)
      expect(encodeTimeExponential(decodeTimeExponential(code))).toBe(code);
  });
});

describe('integers', () => {
  it('round-trip at 1 to 6 octets, both signs', () => {
    fc.assert(
      fc.property(
        fc.integer({ min: 1, max: 6 }),
        fc.boolean(),
        fc.double({ min: 0, max: 1, noNaN: true }),
        (octets, signed, at) => {
          const span = 2 ** (octets * 8);
          const value = Math.floor(at * (span - 1)) - (signed ? span / 2 : 0);
          const bytes = encodeInteger(value, octets, signed);
          expect((signed ? decodeSigned : decodeUnsigned)(bytes, 0, octets)).toBe(value);
        },
      ),
    );
  });
  it('agrees with DataView, the platform twin, on random bytes', () => {
    fc.assert(
      fc.property(fc.uint8Array({ minLength: 4, maxLength: 4 }), (bytes) => {
        const view = new DataView(bytes.buffer, bytes.byteOffset);
        expect(decodeSigned(bytes, 0, 4)).toBe(view.getInt32(0, true));
        expect(decodeUnsigned(bytes, 0, 4)).toBe(view.getUint32(0, true));
        expect(decodeSigned(bytes, 1, 2)).toBe(view.getInt16(1, true));
      }),
    );
  });
  it('refuses what a double cannot hold', () => {
    expect(() => decodeUnsigned(new Uint8Array(8).fill(0xff), 0, 8)).toThrow(
      expect.objectContaining({ code: 'bad-field' }),
    );
    expect(decodeSigned(new Uint8Array(8).fill(0xff), 0, 8)).toBe(-1);
  });
});

describe('UUIDs', () => {
  it('brings every spelling to one', () => {
    for (const text of [
      '2b18',
      '2B18',
      '0x2B18',
      '00002B18-0000-1000-8000-00805F9B34FB',
      '00002b1800001000800000805f9b34fb',
    ]) {
      expect(canonicalUuid(text)).toBe(uuid16(0x2b18));
    }
    expect(canonicalUuid('a')).toBe(uuid16(0xa));
    expect(shortOf(uuid16(0x2904))).toBe(0x2904);
    expect(shortOf('5c1d0001-7a44-4a0e-9b5e-2f7d0c3e8a11')).toBeNull();
    expect(() => canonicalUuid('<script>')).toThrow(expect.objectContaining({ code: 'bad-field' }));
  });
});

describe('recorded frames re-encode to their own bytes', () => {
  const [electrical, described] = ['sig-electrical', 'self-described'].map((id) =>
    meterCases().find((c) => c.driver === id)!,
  );
  it('SIG electrical', () => {
    for (const frame of electrical!.frames) {
      if ('error' in frame) continue;
      const field = ELECTRICAL_FIELDS.find(
        (f) => f.uuid === parseInt(electrical!.characteristics[frame.from]!.characteristic, 16),
      )!;
      expect(toHex(encodeElectrical(field, decodeElectrical(field, fromHex(frame.hex))))).toBe(frame.hex);
    }
  });
  it('SIG statistics and energy status', () => {
    const statistics = meterCases().find((c) => c.characteristics[0]!.characteristic === '2b1a')!;
    for (const frame of statistics.frames) {
      if ('error' in frame) continue;
      const bytes = fromHex(frame.hex);
      const uuid = parseInt(statistics.characteristics[frame.from]!.characteristic, 16);
      const field = ELECTRICAL_FIELDS.find((f) => f.uuid === uuid);
      const again = field
        ? encodeElectrical(field, decodeElectrical(field, bytes))
        : encodeEnergyStatus(decodeEnergyStatus(bytes));
      expect(toHex(again)).toBe(frame.hex);
    }
  });
  it('SIG statistics keep what is no reading apart', () => {
    const field = ELECTRICAL_FIELDS.find((f) => f.uuid === 0x2b1a)!;
    // 12.59375 V average, 1/16 V deviation, from 12.34375 V to 14.40625 V.
    expect(decodeElectrical(field, fromHex('2603040016039a036b')).statistics).toEqual({
      deviation: 4,
      least: 790,
      most: 922,
    });
  });
  it('self-described', () => {
    for (const frame of described!.frames) {
      if ('error' in frame || frame.hex === '0008') continue; // NRes and NaN both mean "no value"
      const bytes = fromHex(described!.characteristics[frame.from]!.presentationFormat!);
      const format = decodePresentationFormat(bytes);
      expect(encodePresentationFormat(format)).toEqual(bytes);
      expect(toHex(encodePresented(format, decodePresented(format, fromHex(frame.hex))))).toBe(frame.hex);
    }
  });
});
