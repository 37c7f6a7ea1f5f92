import { FLAG, type Reading } from '../../core/reading.ts';
import { fixedLength } from '../byte-stream/fixedLength.ts';
import type { Framing } from '../byte-stream/framing.ts';
import { OCTETS, PREFIX_EXPONENT } from './fields.ts';
import { decodeLcd, type LcdFrame } from './frame.ts';

/** The display as a reading; null where it shows neither volts nor amperes, or a diode test. */
export function lcdReading(frame: LcdFrame): Reading | null {
  const { signs } = frame;
  const quantity = signs.has('volt') ? 'voltage' : signs.has('ampere') ? 'current' : null;
  if (quantity === null || signs.has('diode')) return null;
  const prefix = Object.entries(PREFIX_EXPONENT).find(([name]) => signs.has(name))?.[1] ?? 0;
  const over = frame.digits.includes('L');
  const shown = frame.digits.replaceAll(' ', '');
  const decimals = frame.pointAfter === null ? 0 : frame.digits.length - frame.pointAfter;
  const number = over || shown === '' ? 0 : Number(shown);
  return {
    quantity,
    counts: frame.minus && number !== 0 ? -number : number,
    scale: prefix - decimals,
    flags:
      (over ? FLAG.overload : shown === '' ? FLAG.none : 0) |
      (signs.has('hold') ? FLAG.hold : 0) |
      (signs.has('relative') ? FLAG.relative : 0) |
      (signs.has('ac') ? FLAG.ac : 0) |
      (signs.has('cellLow') ? FLAG.meterCellLow : 0),
  };
}

export const lcdSegments: Framing = {
  id: 'lcd-segments',
  title: '14-octet display segments',
  create: () =>
    fixedLength({
      octets: OCTETS,
      fits: (octet, at) => octet >> 4 === at + 1,
      decode: (bytes) => lcdReading(decodeLcd(bytes)),
    }),
};
