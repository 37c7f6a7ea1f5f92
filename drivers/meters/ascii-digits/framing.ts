import { FLAG, type Reading } from '../../core/reading.ts';
import { fixedLength } from '../byte-stream/fixedLength.ts';
import type { Framing } from '../byte-stream/framing.ts';
import { OCTETS, OVER_RANGE, PREFIX_EXPONENT } from './fields.ts';
import { decodeAscii, fitsAscii, type AsciiFrame } from './frame.ts';

/** The frame as a reading; null where it shows neither volts nor amperes, or a diode test. */
export function asciiReading(frame: AsciiFrame): Reading | null {
  const { flags } = frame;
  const quantity = flags.has('volt') ? 'voltage' : flags.has('ampere') ? 'current' : null;
  if (quantity === null || flags.has('diode')) return null;
  const prefix = Object.entries(PREFIX_EXPONENT).find(([name]) => flags.has(name))?.[1] ?? 0;
  const over = frame.digits === OVER_RANGE;
  const number = over ? 0 : Number(frame.digits);
  return {
    quantity,
    counts: frame.minus && number !== 0 ? -number : number,
    scale: prefix - frame.decimals,
    flags:
      (over ? FLAG.overload : 0) |
      (flags.has('hold') ? FLAG.hold : 0) |
      (flags.has('relative') ? FLAG.relative : 0) |
      (flags.has('max') || flags.has('min') ? FLAG.minMax : 0) |
      (flags.has('ac') ? FLAG.ac : 0) |
      (flags.has('cellLow') ? FLAG.meterCellLow : 0),
  };
}

export const asciiDigits: Framing = {
  id: 'ascii-digits',
  title: '14-octet ASCII digits',
  create: () =>
    fixedLength({ octets: OCTETS, fits: fitsAscii, decode: (bytes) => asciiReading(decodeAscii(bytes)) }),
};
