import type { InstantChannel, Instants } from '../../server/samples/instants.ts';

/**
 * A second reader of blocks of codec 3 and 2, written from server/samples/FORMAT.md alone: slow, obvious, and sharing
 * no code with the first. It trusts the checksum to others.
 */
export function readByTheBook(bytes: Uint8Array): Instants {
  const body = new Plain(bytes, 28);
  const codec = bytes[2]!;
  const channelCount = bytes[3]!;
  const n = new Plain(bytes, 4).u32();
  for (let c = 0; c < channelCount; c++) for (let k = 0; k < 32; k++) body.u8();
  const t = times(body, n, codec);
  const channels: InstantChannel[] = [];
  for (let c = 0; c < channelCount; c++) {
    const end = codec === 3 ? body.u32() + body.at : null;
    const rows = rowsOf(body, n);
    const m = rows === null ? n : rows.length;
    const x = counts(body, m);
    const scale: number[] = [];
    const flags: number[] = [];
    while (scale.length < m) {
      const length = body.varint();
      const s = body.zigzag();
      const f = body.varint();
      for (let k = 0; k < length; k++) {
        scale.push(s);
        flags.push(f);
      }
    }
    if (end !== null && body.at !== end) throw new Error('the channel does not end where it should');
    channels.push({
      rows: rows === null ? null : Uint32Array.from(rows),
      counts: Float64Array.from(x),
      scale: Int8Array.from(scale),
      flags: Uint16Array.from(flags),
    });
  }
  if (body.at !== bytes.length - 4) throw new Error('the body does not end where it should');
  return { length: n, t: Float64Array.from(t), channels };
}

class Plain {
  private readonly view: DataView;
  constructor(
    readonly bytes: Uint8Array,
    public at: number,
  ) {
    this.view = new DataView(bytes.buffer, bytes.byteOffset, bytes.length);
  }
  u8 = () => this.view.getUint8(this.at++);
  u16 = () => this.view.getUint16((this.at += 2) - 2, true);
  u32 = () => this.view.getUint32((this.at += 4) - 4, true);
  f32 = () => this.view.getFloat32((this.at += 4) - 4, true);
  f64 = () => this.view.getFloat64((this.at += 8) - 8, true);
  varint(): number {
    let n = 0n;
    for (let shift = 0n; ; shift += 7n) {
      const byte = this.u8();
      n |= BigInt(byte & 0x7f) << shift;
      if (byte < 0x80) return Number(n);
    }
  }
  zigzag = () => signed(this.varint());
}

function signed(z: number): number {
  return z % 2 === 0 ? z / 2 : -(z + 1) / 2;
}

/** Bits as text of 0 and 1, so that nothing can be shifted wrongly. */
class Bits {
  private at = 0;
  private readonly text: string;
  constructor(bytes: Uint8Array) {
    this.text = Array.from(bytes, (b) => b.toString(2).padStart(8, '0').split('').reverse().join('')).join(
      '',
    );
  }
  take(count: number): number {
    let n = 0;
    for (let k = 0; k < count; k++) n += Number(this.text[this.at++]) * 2 ** k;
    return n;
  }
}

/** Reads a run of coded numbers: call the result with a context for each. */
function coded(r: Plain, contexts: number, codec: number): (context: number) => number {
  const total = codec === 2 ? 4096 : 2048;
  const length = r.varint();
  const bits = new Bits(r.bytes.subarray(r.at, r.at + length));
  r.at += length;
  const tables: { token: number; start: number; f: number }[][] = [];
  for (let c = 0; c < contexts; c++) {
    const table: { token: number; start: number; f: number }[] = [];
    if (bits.take(1) === 1) {
      const first = bits.take(8);
      const last = bits.take(8);
      let start = 0;
      for (let token = first; token <= last; token++) {
        const size = bits.take(4);
        const f = size === 0 ? 0 : 2 ** (size - 1) + bits.take(size - 1);
        table.push({ token, start, f });
        start += f;
      }
      if (start !== total) throw new Error(`frequencies do not sum to ${total}`);
    }
    tables.push(table);
  }
  const wordCount = r.varint();
  const states = codec === 2 ? [r.u32()] : [r.u32(), r.u32()];
  const words = Array.from({ length: wordCount }, () => r.u16());
  return (context) => {
    let x = states.shift()!;
    const place = x % total;
    const { token, start, f } = tables[context]!.find((e) => e.start <= place && place < e.start + e.f)!;
    x = f * Math.floor(x / total) + place - start;
    if (x < 2 ** 15) x = x * 2 ** 16 + words.shift()!;
    states.push(x);
    if (token < 64) return token;
    const e = Math.floor((token - 64) / 4) + 4;
    return (4 + ((token - 64) % 4)) * 2 ** e + bits.take(e);
  };
}

function times(r: Plain, n: number, codec: number): number[] {
  const head = r.u8();
  const mode = head % 16;
  const per = head >= 16 ? 1000 : 1;
  if (mode === 0) return Array.from({ length: n }, () => r.f64());
  if (mode === 3) {
    const follow = r.u8();
    const first = r.zigzag();
    let g = r.f64();
    const step = r.f64();
    const next = coded(r, 1, codec);
    const t = [first / per];
    while (t.length < n) {
      g += step;
      const d = signed(next(0));
      const x = Math.floor(g + 0.5) + d;
      if (d > step / 2 || d < -step / 2) g += Math.floor(d / step + 0.5) * step;
      if (follow !== 0) g += (x - g) * 2 ** -follow;
      t.push((first + x) / per);
    }
    return t;
  }
  let k = r.zigzag();
  const usual = r.zigzag();
  const t = [k / per];
  const next = mode === 1 ? () => r.varint() : coded(r, 4, codec);
  let z = 0;
  while (t.length < n) {
    z = next(z === 0 ? 0 : z <= 4 ? 1 : z <= 31 ? 2 : 3);
    k += usual + signed(z);
    t.push(k / per);
  }
  return t;
}

function rowsOf(r: Plain, n: number): number[] | null {
  if (r.u8() === 0) return null;
  const rows: number[] = [];
  let row = 0;
  const runs = r.varint();
  for (let k = 0; k < runs; k++)
    for (let left = r.varint(); left > 0; left--, row++) if (k % 2 === 0) rows.push(row);
  if (row !== n) throw new Error('rows do not cover the instants');
  return rows;
}

function counts(r: Plain, m: number): number[] {
  const mode = r.u8();
  if (mode === 0) return Array.from({ length: m }, () => r.f64());
  if (mode === 1) return Array.from({ length: m }, () => r.f32());
  if (mode === 2) {
    let last = 0;
    return Array.from({ length: m }, () => (last += r.zigzag()));
  }
  return mode === 3 ? countsOfCodec2(r, m) : countsBesideLevel(r, m);
}

function countsBesideLevel(r: Plain, m: number): number[] {
  const out = [r.zigzag()];
  const near = r.zigzag();
  const byte = r.u8();
  const [gain, back] = [byte % 32, byte >= 128];
  const lag = r.varint();
  const coming = coded(r, 4, 3);
  let level = 64 * out[0]!;
  let [next, last] = [out[0]!, out[0]!];
  let away = 0;
  const awayBy = [0];
  while (out.length < m) {
    const home = next;
    next = Math.floor((level + 32) / 64);
    const before = lag === 0 ? 0 : (awayBy[out.length - lag] ?? 0);
    const context = before !== 0 ? 1 : away === 0 ? 0 : away === 1 && back ? 2 : 3;
    const d = signed(coming(context));
    const x = d + [home, home + before, home, last][context]!;
    const isNear = (y: number) => -near <= y && y <= near;
    awayBy.push(0);
    if (isNear(x - home)) {
      away = 0;
      level += Math.floor((64 * x - level) / 2 ** gain);
    } else if (away >= 8 && isNear(d)) {
      away = 0;
      level = 64 * x;
      next = x;
    } else {
      away++;
      awayBy[out.length] = x - home;
    }
    last = x;
    out.push(x);
  }
  return out;
}

function countsOfCodec2(r: Plain, m: number): number[] {
  const near = r.zigzag();
  const gain = r.u8();
  const next = coded(r, 6, 2);
  let [level, away, last, jumped] = [0, 1, 0, 0];
  return Array.from({ length: m }, () => {
    const home = Math.floor((level + 32) / 64);
    const context = away === 0 ? ((Math.floor((level + 32) / 16) % 4) + 4) % 4 : 4 + jumped;
    const d = signed(next(context));
    const x = (away === 0 ? home : last) + d;
    jumped = d > near || d < -near ? 1 : 0;
    if (x - home <= near && x - home >= -near) {
      away = 0;
      level += Math.floor((64 * x - level) / 2 ** gain);
    } else if (near >= 0 && away + 1 > 8 && jumped === 0) {
      away = 0;
      level = 64 * x;
    } else away++;
    last = x;
    return x;
  });
}
