import { DriverError } from '../core/errors.ts';
import { FLAG, FLOAT32, FLOAT64, valueOf, type Quantity, type Reading } from '../core/reading.ts';
import { bytesOf, codeAt, unmasked } from './bits.ts';
import { checksumOf, storedChecksum } from './checksum.ts';
import type { Bits, MeterDescription, ValueField } from './description.ts';
import { decodeValue, isEndCode, isSigned } from './value.ts';

/**
 * Reads one frame of a taught meter.
 * @returns null when the display shows a quantity that no channel records (ohms, hertz, ...)
 * @throws DriverError wrong-length; bad-field for a wrong checksum and for whatever the teaching did not show
 */
export function readFrame(meter: MeterDescription, bytes: Uint8Array): Reading | null {
  if (bytes.length !== meter.length) {
    throw new DriverError(
      'wrong-length',
      `The frame has ${bytes.length} octets; this meter's have ${meter.length}.`,
    );
  }
  const frame = unmasked(bytes, meter.mask === null ? null : bytesOf(meter.mask));
  const { checksum, fixed } = meter;
  if (checksum && checksumOf(checksum, frame) !== storedChecksum(checksum, frame)) {
    throw new DriverError('bad-field', 'The checksum is wrong.');
  }
  const code = codeAt(frame, meter.modes.bits);
  const mode = meter.modes.rows.find((r) => r.is === code);
  const over = meter.overload.find((o) => codeAt(frame, o.bits) === o.is);
  if (over) {
    refuseChanged(frame, fixed.bits, fixed.is, over.bits);
    if (!mode && code !== over.mode) throw untaught(`mode ${code}`);
    const quantity = mode ? mode.quantity : over.quantity;
    return quantity ? beyond(quantity) : null;
  }
  refuseChanged(frame, fixed.bits, fixed.is, []);
  if (!mode) throw untaught(`mode ${code}`);
  if (mode.quantity === null) return null;
  let flags = mode.ac ? FLAG.ac : 0;
  for (const f of meter.flags) {
    if (readSwitch(frame, f.bits, f.off, f.on)) flags |= FLAG[f.flag];
  }
  const { counts, exponent } = readNumber(meter, frame);
  const row = meter.modes.rows.indexOf(mode);
  const figure = { digits: counts, exponent: exponent + mode.exponent };
  for (const copy of meter.copies) {
    const own = copy.exponents[row] ?? null;
    if (own !== null && !agree(meter.value, figure, copy.value, copyOf(copy.value, frame, own)))
      throw new DriverError('bad-field', 'The two figures in the frame contradict each other.');
  }
  if (Math.abs(counts) * 10 ** exponent >= mode.limit) {
    throw new DriverError('bad-field', 'The figure has more digits than the display.');
  }
  return { quantity: mode.quantity, ...scaled(meter.value, counts, exponent, mode.exponent), flags };
}

interface Figure {
  readonly digits: number;
  readonly exponent: number;
}

function copyOf(field: ValueField, frame: Uint8Array, exponent: number): Figure | null {
  const raw = decodeValue(field, frame);
  if (raw === null || typeof raw === 'string' || isEndCode(field, raw.digits)) return null;
  return { digits: raw.digits, exponent: raw.exponent + exponent };
}

/** Equal but for sign, and for digits that the coarser of the two does not have. */
function agree(aField: ValueField, a: Figure, bField: ValueField, b: Figure | null): boolean {
  if (b === null) return false;
  const [x, y] = [a, b].map(({ digits, exponent }) => Math.abs(valueOf(digits, exponent))) as [
    number,
    number,
  ];
  const place = (field: ValueField, { exponent }: Figure) => (field.kind === 'float32' ? 0 : 10 ** exponent);
  const [p, q] = [place(aField, a), place(bField, b)];
  const float = p === 0 || q === 0 ? 1e-6 * x : 1e-9 * x;
  return Math.abs(x - y) <= float + (p === q ? 0 : Math.max(p, q) * (1 - 1e-6));
}

function beyond(quantity: Quantity): Reading {
  return { quantity, counts: 0, scale: 0, flags: FLAG.overload };
}

function readNumber(meter: MeterDescription, frame: Uint8Array): { counts: number; exponent: number } {
  const raw = decodeValue(meter.value, frame);
  if (raw === null || typeof raw === 'string' || isEndCode(meter.value, raw.digits)) {
    throw untaught('value');
  }
  const { digits, exponent } = raw;
  if (!meter.sign || digits === 0) return { counts: digits === 0 ? 0 : digits, exponent };
  const minus = readSwitch(frame, meter.sign.bits, meter.sign.plus, meter.sign.minus);
  // Where the number has a sign of its own, the sign bits must agree with it.
  if (isSigned(meter.value) && (digits < 0 || meter.value.kind !== 'text')) {
    if (minus !== digits < 0) throw new DriverError('bad-field', 'The sign bits contradict the number.');
    return { counts: digits, exponent };
  }
  return { counts: minus ? -digits : digits, exponent };
}

function scaled(
  field: ValueField,
  digits: number,
  own: number,
  mode: number,
): { counts: number; scale: number } {
  if (field.kind !== 'float32') return { counts: digits, scale: own + mode };
  if (mode === 0) return { counts: digits, scale: FLOAT32 };
  return { counts: mode < 0 ? digits / 10 ** -mode : digits * 10 ** mode, scale: FLOAT64 };
}

function readSwitch(frame: Uint8Array, bits: Bits, off: string, on: string): boolean {
  const code = codeAt(frame, bits);
  if (code === on) return true;
  if (code === off) return false;
  throw untaught(`code ${code}`);
}

function refuseChanged(frame: Uint8Array, bits: Bits, is: string, except: Bits): void {
  bits.forEach(({ at, mask }, i) => {
    const octet = frame[at]!;
    const free = except.find((b) => b.at === at)?.mask ?? 0;
    if ((octet ^ parseInt(is.slice(2 * i, 2 * i + 2), 16)) & mask & ~free) {
      throw untaught(`octet ${at} = ${octet.toString(16).padStart(2, '0')}`);
    }
  });
}

function untaught(what: string): DriverError {
  return new DriverError('bad-field', `The meter was never taught with this frame (${what}).`);
}
