/**
 * D-Bus wire format, little-endian (D-Bus Specification, "Type system" and "Message protocol"): as much of
 * it as org.bluez needs.
 */

/** A value with its D-Bus type signature. */
export interface Variant {
  readonly sig: string;
  readonly value: unknown;
}
export const variant = (sig: string, value: unknown): Variant => ({ sig, value });

/** End of the one complete type that starts at `at`. */
function typeEnd(sig: string, at: number): number {
  const c = sig[at]!;
  if (c === 'a') return typeEnd(sig, at + 1);
  if (c !== '(' && c !== '{') return at + 1;
  const close = c === '(' ? ')' : '}';
  let end = at + 1;
  while (sig[end] !== close) end = typeEnd(sig, end);
  return end + 1;
}

/** A signature as its complete types. */
export function typesOf(sig: string): string[] {
  const types: string[] = [];
  for (let at = 0; at < sig.length;) {
    const end = typeEnd(sig, at);
    types.push(sig.slice(at, end));
    at = end;
  }
  return types;
}

const ALIGNMENT: Readonly<Record<string, number>> = { y: 1, g: 1, v: 1, n: 2, q: 2, '(': 8, '{': 8 };
const alignmentOf = (type: string): number => ALIGNMENT[type[0]!] ?? 4;
const aligned = (at: number, to: number): number => (at + to - 1) & ~(to - 1);

export class Writer {
  private bytes = Buffer.alloc(512);
  private at = 0;

  private room(n: number): number {
    const from = this.at;
    this.at += n;
    if (this.at > this.bytes.length) {
      const larger = Buffer.alloc(Math.max(this.bytes.length * 2, this.at));
      this.bytes.copy(larger);
      this.bytes = larger;
    }
    return from;
  }

  align(to: number): void {
    this.room(aligned(this.at, to) - this.at);
  }

  raw(bytes: Uint8Array): void {
    const from = this.room(bytes.length);
    this.bytes.set(bytes, from);
  }

  u32(value: number): number {
    this.align(4);
    const from = this.room(4);
    this.bytes.writeUInt32LE(value >>> 0, from);
    return from;
  }

  write(type: string, value: unknown): void {
    switch (type.charAt(0)) {
      case 'y':
        this.raw(Uint8Array.of(value as number));
        return;
      case 'b':
        this.u32(value ? 1 : 0);
        return;
      case 'n':
      case 'q': {
        this.align(2);
        const from = this.room(2);
        if (type === 'n') this.bytes.writeInt16LE(value as number, from);
        else this.bytes.writeUInt16LE(value as number, from);
        return;
      }
      case 'i':
      case 'u':
        this.u32(value as number);
        return;
      case 's':
      case 'o': {
        const text = Buffer.from(`${value as string}\0`);
        this.u32(text.length - 1);
        this.raw(text);
        return;
      }
      case 'g': {
        const text = Buffer.from(`${value as string}\0`);
        this.raw(Uint8Array.of(text.length - 1));
        this.raw(text);
        return;
      }
      case 'v': {
        const { sig, value: inner } = value as Variant;
        this.write('g', sig);
        this.write(sig, inner);
        return;
      }
      case 'a':
        this.writeArray(type.slice(1), value);
        return;
      case '(':
        this.align(8);
        typesOf(type.slice(1, -1)).forEach((t, i) => this.write(t, (value as unknown[])[i]));
        return;
      default:
        throw new Error(`D-Bus type ${type} is not written here`);
    }
  }

  private writeArray(element: string, value: unknown): void {
    const lengthAt = this.u32(0);
    this.align(alignmentOf(element));
    const start = this.at;
    if (element === 'y') this.raw(value as Uint8Array);
    else if (element[0] === '{') {
      const [keyType, valueType] = typesOf(element.slice(1, -1)) as [string, string];
      for (const [k, v] of value instanceof Map ? value : Object.entries(value as object)) {
        this.align(8);
        this.write(keyType, k);
        this.write(valueType, v);
      }
    } else for (const item of value as unknown[]) this.write(element, item);
    this.bytes.writeUInt32LE(this.at - start, lengthAt);
  }

  done(): Buffer {
    return this.bytes.subarray(0, this.at);
  }
}

export class Reader {
  constructor(
    private readonly bytes: Buffer,
    private at = 0,
  ) {}

  read(type: string): unknown {
    this.at = aligned(this.at, alignmentOf(type));
    switch (type.charAt(0)) {
      case 'y':
        return this.bytes[this.at++];
      case 'b':
        return this.take(4).readUInt32LE() !== 0;
      case 'n':
        return this.take(2).readInt16LE();
      case 'q':
        return this.take(2).readUInt16LE();
      case 'i':
        return this.take(4).readInt32LE();
      case 'u':
        return this.take(4).readUInt32LE();
      case 's':
      case 'o': {
        const length = this.take(4).readUInt32LE();
        return this.take(length + 1).toString('utf8', 0, length);
      }
      case 'g': {
        const length = this.take(1)[0]!;
        return this.take(length + 1).toString('utf8', 0, length);
      }
      case 'v': {
        const sig = this.read('g') as string;
        return variant(sig, this.read(sig));
      }
      case 'a':
        return this.readArray(type.slice(1));
      case '(':
        return typesOf(type.slice(1, -1)).map((t) => this.read(t));
      default:
        throw new Error(`D-Bus type ${type} is not read here`);
    }
  }

  private take(n: number): Buffer {
    this.at += n;
    return this.bytes.subarray(this.at - n, this.at);
  }

  private readArray(element: string): unknown {
    const length = this.take(4).readUInt32LE();
    this.at = aligned(this.at, alignmentOf(element));
    const end = this.at + length;
    if (element === 'y') return Uint8Array.from(this.take(length));
    if (element[0] === '{') {
      const [keyType, valueType] = typesOf(element.slice(1, -1)) as [string, string];
      const map = new Map<unknown, unknown>();
      while (this.at < end) {
        this.at = aligned(this.at, 8);
        const key = this.read(keyType);
        map.set(key, this.read(valueType));
      }
      return map;
    }
    const items: unknown[] = [];
    while (this.at < end) items.push(this.read(element));
    return items;
  }
}
