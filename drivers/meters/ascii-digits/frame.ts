import { DriverError } from '../../core/errors.ts';
import { FLAG_OCTETS, OCTETS, OVER_RANGE, POINT_CODES, PREFIX_EXPONENT, QUANTITIES } from './fields.ts';

export interface AsciiFrame {
  readonly minus: boolean;
  /** Four digits, or OVER_RANGE. */
  readonly digits: string;
  readonly decimals: number;
  readonly flags: ReadonlySet<string>;
  /** The bar graph's octet as it came; bit 7 is its sign. */
  readonly bar: number;
}

const CODE_OF = new Map([...POINT_CODES].map(([code, decimals]) => [decimals, code]));
const [SPACE, CR, LF] = [0x20, 0x0d, 0x0a];

/** Whether an octet can stand at a place of the frame. */
export function fitsAscii(octet: number, at: number): boolean {
  if (at === 0) return octet === 0x2b || octet === 0x2d;
  if (at <= 4) return (octet >= 0x30 && octet <= 0x3a) || octet === 0x3f;
  if (at === 5) return octet === SPACE;
  if (at === 6) return POINT_CODES.has(String.fromCharCode(octet));
  if (at === 12) return octet === CR;
  if (at === 13) return octet === LF;
  return true;
}

/** @throws DriverError wrong-length, bad-field */
export function decodeAscii(bytes: Uint8Array): AsciiFrame {
  if (bytes.length !== OCTETS) throw new DriverError('wrong-length', `A digit frame has ${OCTETS} octets.`);
  if (!bytes.every(fitsAscii))
    throw new DriverError('bad-field', 'The digit frame has an octet out of place.');
  const digits = String.fromCharCode(...bytes.subarray(1, 5));
  if (!/^\d{4}$/.test(digits) && digits !== OVER_RANGE) {
    throw new DriverError('bad-field', 'The digits of the frame cannot be read.');
  }
  const flags = new Set<string>();
  for (const [at, names] of Object.entries(FLAG_OCTETS)) {
    names.forEach((name, i) => {
      if (!(bytes[Number(at)]! & (0x80 >> i))) return;
      if (name === null) throw new DriverError('bad-field', 'The digit frame sets a bit that means nothing.');
      flags.add(name);
    });
  }
  const prefixes = Object.keys(PREFIX_EXPONENT).filter((p) => flags.has(p));
  const quantities = QUANTITIES.filter((q) => flags.has(q));
  if (prefixes.length > 1 || quantities.length > 1 || (flags.has('ac') && flags.has('dc'))) {
    throw new DriverError('bad-field', 'The digit frame contradicts itself.');
  }
  return {
    minus: bytes[0] === 0x2d,
    digits,
    decimals: POINT_CODES.get(String.fromCharCode(bytes[6]!))!,
    flags,
    bar: bytes[11]!,
  };
}

/** Mirror of `decodeAscii`. */
export function encodeAscii(frame: AsciiFrame): Uint8Array {
  const code = CODE_OF.get(frame.decimals);
  if (code === undefined) throw new RangeError(`${frame.decimals} decimals have no point code`);
  const out = new Uint8Array(OCTETS);
  const head = `${frame.minus ? '-' : '+'}${frame.digits} ${code}`;
  for (let i = 0; i < head.length; i++) out[i] = head.charCodeAt(i);
  for (const [at, names] of Object.entries(FLAG_OCTETS)) {
    names.forEach((name, i) => {
      if (name !== null && frame.flags.has(name)) out[Number(at)]! |= 0x80 >> i;
    });
  }
  out.set([frame.bar, CR, LF], 11);
  return out;
}
