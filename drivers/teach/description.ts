import { z } from 'zod';

/** Version of the meter description below; FORMAT.md says what each field means. */
export const METER_SCHEMA = 'nightdraw.meter/1';

export const LONGEST_FRAME = 64;

const hex = z.string().regex(/^([0-9a-f]{2})*$/);
const octet = z.int().min(0).max(255);
const at = z
  .int()
  .min(0)
  .max(LONGEST_FRAME - 1);
/** A half octet: 2 x octet for its high half, one more for its low half. */
const nibble = z
  .int()
  .min(0)
  .max(2 * LONGEST_FRAME - 1);
const order = z.enum(['little', 'big']);

/** Bits anywhere in a frame, and beside them the octets that they are compared with (`is`, hex, masked). */
const bits = z.array(z.strictObject({ at, mask: octet.min(1) })).max(LONGEST_FRAME);

const value = z.discriminatedUnion('kind', [
  z.strictObject({
    kind: z.literal('integer'),
    at,
    octets: z.int().min(1).max(4),
    order,
    sign: z.enum(['unsigned', 'twos-complement', 'sign-magnitude', 'offset-binary']),
  }),
  z.strictObject({ kind: z.literal('bcd'), digits: z.array(nibble).min(1).max(12) }),
  z.strictObject({ kind: z.literal('text'), at, length: z.int().min(1).max(12) }),
  z.strictObject({ kind: z.enum(['sfloat', 'float', 'float32']), at, order }),
  z.strictObject({
    kind: z.literal('segments'),
    /** Two half octets a digit, most significant digit first. */
    digits: z
      .array(z.tuple([nibble, nibble]))
      .min(1)
      .max(8),
    /** The seven bits of a digit's octet that are segments. */
    lit: octet,
    /** Codes of each digit 0 to 9: more than one where teaching left open how it is drawn. */
    codes: z.array(z.array(octet).max(16)).length(10),
    blank: octet.nullable(),
  }),
]);

const checksum = z.strictObject({
  kind: z.enum(['sum', 'xor', 'crc']),
  at,
  octets: z.union([z.literal(1), z.literal(2)]),
  order,
  /** Octets summed: `from` up to, but without, `to`. */
  from: at,
  to: z.int().min(1).max(LONGEST_FRAME),
  polynomial: z.int().min(0).max(0xffff),
  reflected: z.boolean(),
  start: z.int().min(0).max(0xffff),
  final: z.int().min(0).max(0xffff),
});

/** What one code of the mode bits means; `quantity` is null for ohms, hertz and the like, which give no reading. */
const mode = z.strictObject({
  is: hex,
  quantity: z.enum(['voltage', 'current', 'temperature']).nullable(),
  /** Power of ten of the value's last place, in volts, amperes or degrees. */
  exponent: z.int().min(-15).max(12),
  /** The display cannot show so much in this mode, in places of `exponent`. */
  limit: z.number().positive(),
  ac: z.boolean(),
});

export const meterDescriptionSchema = z.strictObject({
  schema: z.literal(METER_SCHEMA),
  title: z.string().min(1).max(80),
  /** Where the frames come from; null where the teaching was not told. */
  source: z.strictObject({ service: z.string().max(36), characteristic: z.string().max(36) }).nullable(),
  /** Only a meter whose advertised name starts so; null for any. */
  nameStartsWith: z.string().min(1).max(40).nullable(),
  length: z.int().min(1).max(LONGEST_FRAME),
  /** Combined with the frame by exclusive or before anything else is read. */
  mask: hex.nullable(),
  checksum: checksum.nullable(),
  /** Bits that never changed in the teaching; a frame in which one does is refused. */
  fixed: z.strictObject({ bits, is: hex }),
  modes: z.strictObject({ bits, rows: z.array(mode).min(1).max(64) }),
  value,
  /** The same figure elsewhere in the frame: by row of `modes` its own power of ten, null where it is not known. */
  copies: z
    .array(z.strictObject({ value, exponents: z.array(z.int().min(-15).max(12).nullable()).max(64) }))
    .max(4)
    .default([]),
  sign: z.strictObject({ bits, plus: hex, minus: hex }).nullable(),
  /** Each a state of the display in which its figure is no live value. */
  flags: z
    .array(z.strictObject({ flag: z.enum(['hold', 'relative', 'minMax']), bits, off: hex, on: hex }))
    .max(8),
  /** `mode` and `quantity` hold where over-range was shown in a mode in which no figure was. */
  overload: z.array(z.strictObject({ bits, is: hex, mode: hex, quantity: mode.shape.quantity })).max(16),
});

export type MeterDescription = z.infer<typeof meterDescriptionSchema>;
export type ValueField = MeterDescription['value'];
export type Checksum = NonNullable<MeterDescription['checksum']>;
export type Bits = z.infer<typeof bits>;
export type ByteOrder = z.infer<typeof order>;
