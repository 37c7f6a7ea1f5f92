import { Reader, typesOf, variant, Writer, type Variant } from './marshal.ts';

/** One D-Bus message (D-Bus Specification, "Message Format"). */
export interface Message {
  readonly type: 'call' | 'reply' | 'error' | 'signal';
  readonly serial: number;
  readonly noReply: boolean;
  readonly path?: string;
  readonly interface?: string;
  readonly member?: string;
  readonly error?: string;
  readonly replySerial?: number;
  readonly destination?: string;
  readonly sender?: string;
  readonly signature?: string;
  readonly body: readonly unknown[];
}

const TYPES = ['call', 'reply', 'error', 'signal'] as const;
const FIELDS = [
  ['path', 'o'],
  ['interface', 's'],
  ['member', 's'],
  ['error', 's'],
  ['replySerial', 'u'],
  ['destination', 's'],
  ['sender', 's'],
  ['signature', 'g'],
] as const;
const LITTLE_ENDIAN = 0x6c;
const NO_REPLY_EXPECTED = 1;
const PROTOCOL_VERSION = 1;

export function encodeMessage(message: Omit<Message, 'noReply'>): Buffer {
  const body = new Writer();
  typesOf(message.signature ?? '').forEach((type, i) => body.write(type, message.body[i]));
  const bytes = body.done();
  const out = new Writer();
  out.raw(Uint8Array.of(LITTLE_ENDIAN, TYPES.indexOf(message.type) + 1, NO_REPLY_EXPECTED, PROTOCOL_VERSION));
  out.u32(bytes.length);
  out.u32(message.serial);
  const fields: [number, Variant][] = [];
  FIELDS.forEach(([name, type], i) => {
    const value = message[name];
    if (value !== undefined && value !== '') fields.push([i + 1, variant(type, value)]);
  });
  out.write('a(yv)', fields);
  out.align(8);
  out.raw(bytes);
  return out.done();
}

/** The first whole message of `bytes` and its length; null while it is not all there. */
export function decodeMessage(bytes: Buffer): { readonly message: Message; readonly length: number } | null {
  if (bytes.length < 16) return null;
  const bodyLength = bytes.readUInt32LE(4);
  const headerLength = (16 + bytes.readUInt32LE(12) + 7) & ~7;
  const length = headerLength + bodyLength;
  if (bytes.length < length) return null;
  const fields: Record<string, unknown> = {};
  for (const [code, value] of new Reader(bytes, 12).read('a(yv)') as [number, Variant][]) {
    const field = FIELDS[code - 1];
    if (field) fields[field[0]] = value.value;
  }
  // Alignment counts from the message's start, and the header ends on a multiple of 8.
  const body = new Reader(bytes.subarray(headerLength, length));
  const types = typesOf((fields.signature as string | undefined) ?? '');
  return {
    length,
    message: {
      ...fields,
      type: TYPES[bytes[1]! - 1] ?? 'signal',
      serial: bytes.readUInt32LE(8),
      noReply: (bytes[2]! & NO_REPLY_EXPECTED) !== 0,
      body: types.map((type) => body.read(type)),
    },
  };
}
