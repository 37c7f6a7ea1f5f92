import { describe, expect, it } from 'vitest';
import { FLAG } from '../../drivers/core/reading.ts';
import { taughtDriver } from '../../drivers/meters/taught/driver.ts';
import { meterDescriptionSchema, type MeterDescription } from '../../drivers/teach/description.ts';
import { teach } from '../../drivers/teach/teach.ts';
import { driverContract } from '../contract/driver.ts';
import { fromHex, toHex } from '../helpers/hex.ts';
import { profileOf, type MeterCase } from '../helpers/meterCase.ts';

/** Header, mode, flags, three BCD octets, CRC-8 (SMBUS), as an invented meter might send them. */
function frame(mode: number, flags: number, digits: string): Uint8Array {
  const body = [0xa5, mode, flags, ...fromHex(digits)];
  let crc = 0;
  for (const octet of body) {
    crc ^= octet;
    for (let i = 0; i < 8; i++) crc = crc & 0x80 ? ((crc << 1) ^ 7) & 255 : (crc << 1) & 255;
  }
  return Uint8Array.from([...body, crc]);
}

const VOLT = 0x12;
const MILLIAMP = 0x31;
const lesson = [
  [frame(VOLT, 0, '001263'), '12.63 V'],
  [frame(VOLT, 0, '000984'), '9.84 V'],
  [frame(VOLT, 0, '000000'), '0.00 V'],
  [frame(MILLIAMP, 4, '000256'), '-25.6 mA'],
  [frame(MILLIAMP, 0, '001307'), '130.7 mA'],
  [frame(VOLT, 4, '000305'), '-3.05 V'],
  [frame(VOLT, 1, '001188'), '11.88 V HOLD'],
  [frame(MILLIAMP, 0, 'ffffff'), 'OL mA'],
] as const;

const result = teach(lesson.map(([f, display]) => ({ frame: f, display })));
const SERVICE = '0000fff0-0000-1000-8000-00805f9b34fb';
const NOTIFY = '0000fff4-0000-1000-8000-00805f9b34fb';
const described = (): MeterDescription => ({
  ...result.description!,
  source: { service: 'fff0', characteristic: 'fff4' },
});

const recorded: MeterCase = {
  driver: 'taught',
  source: 'An invented meter; its encoder stands in this test.',
  characteristics: [{ service: 'fff0', characteristic: 'fff4', presentationFormat: null }],
  streams: [],
  frames: [
    { from: 0, hex: toHex(frame(VOLT, 0, '001263')), key: 'fff4.0', text: '12.63', flags: [] },
    { from: 0, hex: toHex(frame(VOLT, 4, '001100')), key: 'fff4.0', text: '-11.00', flags: [] },
    { from: 0, hex: toHex(frame(MILLIAMP, 4, '000257')), key: 'fff4.1', text: '-0.0257', flags: [] },
    { from: 0, hex: toHex(frame(VOLT, 1, '001263')), key: 'fff4.0', text: '12.63', flags: ['hold'] },
    { from: 0, hex: toHex(frame(MILLIAMP, 0, 'ffffff')), key: 'fff4.1', text: '0', flags: ['overload'] },
    { from: 0, hex: toHex(frame(0x32, 0, '001263')), error: 'bad-field' }, // a mode never shown
    { from: 0, hex: toHex(frame(VOLT, 2, '001263')), error: 'bad-field' }, // a flag never shown
    { from: 0, hex: toHex(frame(VOLT, 0, '001263').with(6, 0)), error: 'bad-field' }, // the checksum
    { from: 0, hex: '', error: 'wrong-length' },
  ],
};

it('the invented meter is learned', () => {
  expect(result).toMatchObject({ state: 'learned', fits: 1 });
});

driverContract(taughtDriver(described()), [recorded]);

describe('the driver of taught meters', () => {
  it('has a channel for each quantity, with its step and label', () => {
    const reader = taughtDriver(described()).open(profileOf(recorded))!;
    expect(reader.channels.map((c) => [c.key, c.quantity, c.label, c.step])).toEqual([
      ['fff4.0', 'voltage', 'Voltage', 0.01],
      ['fff4.1', 'current', 'Current', 0.0001],
    ]);
    expect(reader.sources).toEqual([{ service: SERVICE, characteristic: NOTIFY, index: 0 }]);
  });

  it('without a source reads the only notifying characteristic that is no standard one', () => {
    const driver = taughtDriver({ ...described(), source: null });
    const standard = { service: '180f', characteristic: '2a19', presentationFormat: null };
    const vendor = { service: 'fff0', characteristic: 'fff3', presentationFormat: null };
    const withStandard = { ...recorded, characteristics: [standard, ...recorded.characteristics] };
    expect(driver.open(profileOf(withStandard))?.sources[0]?.characteristic).toBe(NOTIFY);
    const two = { ...recorded, characteristics: [vendor, ...recorded.characteristics] };
    expect(driver.open(profileOf(two))).toBeNull();
  });

  it('leaves a meter of another name alone', () => {
    const driver = taughtDriver({ ...described(), nameStartsWith: 'Bench' });
    expect(driver.open(profileOf(recorded))).toBeNull();
    expect(driver.open({ ...profileOf(recorded), name: 'Bench 7' })).not.toBeNull();
  });

  it('gives no reading for a quantity without a channel', () => {
    const description = described();
    const ohms = {
      ...description,
      modes: { ...description.modes, rows: description.modes.rows.map((r) => ({ ...r, quantity: null })) },
      overload: [],
    };
    const reader = taughtDriver(ohms).open(profileOf(recorded))!;
    expect(reader.channels).toEqual([]);
    expect(reader.read(reader.sources[0]!, frame(VOLT, 0, '001263'))).toEqual([]);
  });

  it('never lets a held figure or an over-range pass for a live value', () => {
    const reader = taughtDriver(described()).open(profileOf(recorded))!;
    const flagsOf = (f: Uint8Array) => reader.read(reader.sources[0]!, f)[0]!.reading.flags;
    expect(flagsOf(frame(VOLT, 5, '001263'))).toBe(FLAG.hold);
    expect(flagsOf(frame(MILLIAMP, 0, 'ffffff'))).toBe(FLAG.overload);
  });
});

describe('the description', () => {
  it('survives JSON and its schema', () => {
    const again: unknown = JSON.parse(JSON.stringify(described()));
    expect(meterDescriptionSchema.parse(again)).toEqual(described());
  });

  it.each([
    ['another version', { schema: 'nightdraw.meter/2' }],
    ['an unknown field', { script: 'alert(1)' }],
    ['a frame too long', { length: 65 }],
    ['no mode', { modes: { bits: [], rows: [] } }],
    ['text that is no hex', { mask: 'zz' }],
  ])('is refused with %s', (_what, change) => {
    expect(meterDescriptionSchema.safeParse({ ...described(), ...change }).success).toBe(false);
  });
});
