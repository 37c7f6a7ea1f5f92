import { closeSync, existsSync, openSync, readSync, writeSync } from 'node:fs';
import { gzipSync } from 'node:zlib';

const PIECE = 1 << 22;

/** The file packed beside itself, piece by piece; members one after another are one gzip file. */
export function gzipFile(file: string): string {
  const packed = `${file}.gz`;
  if (existsSync(packed)) return packed;
  const [from, to] = [openSync(file, 'r'), openSync(packed, 'w')];
  const piece = Buffer.alloc(PIECE);
  for (;;) {
    const length = readSync(from, piece);
    if (length === 0) break;
    writeSync(to, gzipSync(piece.subarray(0, length), { level: 4 }));
  }
  closeSync(from);
  closeSync(to);
  return packed;
}
