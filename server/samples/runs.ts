import type { ByteReader, ByteWriter } from './bytes.ts';

/** Runs of equal scale and flags: length, scale, flags. */
export function writeRuns(w: ByteWriter, scale: Int8Array, flags: Uint16Array): void {
  for (let i = 0; i < scale.length;) {
    let end = i + 1;
    while (end < scale.length && scale[end] === scale[i] && flags[end] === flags[i]) end++;
    w.varint(end - i);
    w.zigzag(scale[i]!);
    w.varint(flags[i]!);
    i = end;
  }
}

export function readRuns(r: ByteReader, scale: Int8Array, flags: Uint16Array): void {
  for (let i = 0; i < scale.length;) {
    const end = i + r.varint();
    if (end <= i || end > scale.length) throw new RangeError('a run does not fit');
    const s = r.zigzag();
    const f = r.varint();
    if (s < -128 || s > 127 || f > 0xffff) throw new RangeError('scale or flags out of range');
    scale.fill(s, i, end);
    flags.fill(f, i, end);
    i = end;
  }
}
