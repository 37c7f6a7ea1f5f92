/**
 * A second reader of pictures, written from server/messages/ZOOM.md and server/samples/FORMAT.md alone: slow,
 * obvious, and sharing no code with the first.
 */
export interface ReadChannel {
  readonly id: number;
  readonly quantity: number;
  readonly raw: boolean;
  readonly rounded: boolean;
  readonly t: number[];
  readonly min: number[];
  readonly max: number[];
}

export function readZoomByTheBook(bytes: Uint8Array) {
  const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.length);
  let at = 0;
  const u8 = (): number => view.getUint8(at++);
  const f64 = (): number => view.getFloat64((at += 8) - 8, true);
  const varint = (): number => {
    let n = 0n;
    for (let shift = 0n; ; shift += 7n) {
      const octet = u8();
      n |= BigInt(octet & 0x7f) << shift;
      if (octet < 0x80) return Number(n);
    }
  };
  const signed = (z: number): number => (z % 2 === 0 ? z / 2 : -(z + 1) / 2);

  if (String.fromCharCode(u8(), u8()) !== 'NZ') throw new Error('no picture');
  if (u8() !== 1) throw new Error('another version');
  const count = u8();
  const fromS = f64();
  const toS = f64();
  const buckets = varint();
  const channels: ReadChannel[] = [];
  for (let c = 0; c < count; c++) {
    const id = varint();
    const quantity = u8();
    const kind = u8();
    const raw = kind % 2 === 1;
    const n = varint();
    const t: number[] = [];
    if (!raw) {
      let bucket = 0;
      const runs = varint();
      for (let k = 0; k < runs; k++)
        for (let left = varint(); left > 0; left--, bucket++)
          if (k % 2 === 0) t.push(fromS + (bucket + 0.5) * ((toS - fromS) / buckets));
    }
    const scale = signed(varint());
    const step = varint();
    const length = varint();
    const all = [...bytes.subarray(at, at + length)]
      .map((octet) => octet.toString(2).padStart(8, '0').split('').reverse().join(''))
      .join('');
    at += length;
    let next = 0;
    const number = (width: number): number =>
      width === 0 ? 0 : parseInt([...all.slice(next, (next += width))].reverse().join(''), 2);
    const rice = (m: number): number[] => {
      const shift = number(6);
      return Array.from({ length: m }, () => {
        if (shift === 63) return 0;
        let ones = 0;
        while (ones < 20 && all[next++] === '1') ones++;
        return ones === 20 ? number(53) : ones * 2 ** shift + number(shift);
      });
    };
    const column = (): number[] => {
      const out = rice(Math.min(1, n));
      for (let i = 1; i < n; i += 64) out.push(...rice(Math.min(64, n - i)));
      return out;
    };
    const value = (k: number): number => (scale < 0 ? (k * step) / 10 ** -scale : k * step * 10 ** scale);
    const sums = (z: number[]): number[] =>
      z.map((_, i) => z.slice(0, i + 1).reduce((a, b) => a + signed(b), 0));
    const low = sums(column());
    const second = column();
    const min = low.map(value);
    if (raw) t.push(...sums(second).map((us) => us / 1e6));
    const max = raw ? min : low.map((k, i) => value(k + second[i]!));
    channels.push({ id, quantity, raw, rounded: kind >= 2, t, min, max });
  }
  if (at !== bytes.length) throw new Error('bytes left over');
  return { fromS, toS, buckets, channels };
}
