import { DriverError } from '../../core/errors.ts';
import { DIGIT_OCTETS, OCTETS, PREFIX_EXPONENT, QUANTITIES, SEGMENTS, SIGNS } from './fields.ts';

/** What the display shows: four characters, signs by name. */
export interface LcdFrame {
  /** Four of "0".."9", "L" or blank. */
  readonly digits: string;
  readonly minus: boolean;
  /** Digits before the point, 1 to 3; null without a point. */
  readonly pointAfter: number | null;
  readonly signs: ReadonlySet<string>;
}

const SEGMENTS_OF = new Map([...SEGMENTS].map(([code, character]) => [character, code]));

/** @throws DriverError wrong-length, bad-field */
export function decodeLcd(bytes: Uint8Array): LcdFrame {
  if (bytes.length !== OCTETS) throw new DriverError('wrong-length', `A display frame has ${OCTETS} octets.`);
  bytes.forEach((octet, i) => {
    if (octet >> 4 !== i + 1)
      throw new DriverError('bad-field', 'The octets of a display frame are out of order.');
  });
  const nibble = (i: number): number => bytes[i]! & 0xf;
  let digits = '';
  const points: number[] = [];
  DIGIT_OCTETS.forEach((at, i) => {
    const character = SEGMENTS.get(((nibble(at) & 7) << 4) | nibble(at + 1));
    if (character === undefined) throw new DriverError('bad-field', 'A digit of the display cannot be read.');
    digits += character;
    if (i > 0 && nibble(at) & 8) points.push(i);
  });
  const signs = new Set<string>();
  for (const [octet, names] of Object.entries(SIGNS)) {
    names.forEach((name, i) => {
      if (nibble(Number(octet)) & (8 >> i)) signs.add(name);
    });
  }
  const prefixes = Object.keys(PREFIX_EXPONENT).filter((p) => signs.has(p));
  const quantities = QUANTITIES.filter((q) => signs.has(q));
  if (!signs.has('rs232')) throw new DriverError('bad-field', 'The display frame lacks its mark.');
  if (
    prefixes.length > 1 ||
    quantities.length > 1 ||
    points.length > 1 ||
    (signs.has('ac') && signs.has('dc'))
  ) {
    throw new DriverError('bad-field', 'The display frame contradicts itself.');
  }
  return { digits, minus: (nibble(1) & 8) !== 0, pointAfter: points[0] ?? null, signs };
}

/** Mirror of `decodeLcd`. */
export function encodeLcd(frame: LcdFrame): Uint8Array {
  const out = Uint8Array.from({ length: OCTETS }, (_, i) => (i + 1) << 4);
  DIGIT_OCTETS.forEach((at, i) => {
    const code = SEGMENTS_OF.get(frame.digits[i] ?? ' ');
    if (code === undefined) throw new RangeError(`no segments for "${frame.digits[i]}"`);
    const top = i === 0 ? frame.minus : frame.pointAfter === i;
    out[at]! |= (code >> 4) | (top ? 8 : 0);
    out[at + 1]! |= code & 0xf;
  });
  for (const [octet, names] of Object.entries(SIGNS)) {
    names.forEach((name, i) => {
      if (frame.signs.has(name)) out[Number(octet)]! |= 8 >> i;
    });
  }
  return out;
}
