import { crc32, deflateSync } from 'node:zlib';

/** Files that say what a JPEG or a PNG says of itself; what they depict does not matter here. */

const text = (s: string): number[] => [...new TextEncoder().encode(s)];
const word = (n: number): number[] => [n >> 8, n & 255];

function segment(marker: number, data: readonly number[]): number[] {
  return [0xff, marker, ...word(data.length + 2), ...data];
}

/** Exif with a GPS pointer, a maker's preview behind the end, a comment; or none of them. */
export function jpegWith({ exif = false, widthPx = 40, heightPx = 30 } = {}): Uint8Array<ArrayBuffer> {
  const told = [
    ...segment(0xe1, text('Exif\0\0MM\0*\0\0\0\x08\0\x01\x88\x25GPS 52.5 N 13.4 E')),
    ...segment(0xed, text('Photoshop 3.0\0city')),
    ...segment(0xfe, text('taken by nobody')),
  ];
  return Uint8Array.from([
    ...[0xff, 0xd8],
    ...(exif ? told : []),
    ...segment(0xe2, text('ICC_PROFILE\0')),
    ...segment(0xdb, new Array<number>(65).fill(1)),
    ...(exif ? [0xff] : []), // a fill octet, which belongs to no segment
    ...segment(0xc0, [8, ...word(heightPx), ...word(widthPx), 1, 1, 0x11, 0]),
    ...segment(0xda, [1, 1, 0, 0, 63, 0]),
    ...[0x12, 0x34, 0xff, 0x00, 0x56, 0xff, 0xd0, 0x78],
    ...[0xff, 0xd9],
    ...(exif ? text('a film of the same moment') : []),
  ]);
}

function chunk(type: string, data: Uint8Array): Buffer {
  const body = Buffer.concat([Buffer.from(type, 'latin1'), data]);
  const out = Buffer.alloc(body.length + 8);
  out.writeUInt32BE(data.length, 0);
  body.copy(out, 4);
  out.writeUInt32BE(crc32(body), body.length + 4);
  return out;
}

/** A grey PNG of 8 bits, optionally with text, time and Exif. */
export function pngWith({ told = false, widthPx = 5, heightPx = 3 } = {}): Uint8Array<ArrayBuffer> {
  const header = Buffer.alloc(13);
  header.writeUInt32BE(widthPx, 0);
  header.writeUInt32BE(heightPx, 4);
  header[8] = 8;
  const rows = Buffer.alloc((widthPx + 1) * heightPx, 128).fill(0, 0, 1);
  return Uint8Array.from(
    Buffer.concat([
      Buffer.from([0x89, 0x50, 0x4e, 0x47, 0x0d, 0x0a, 0x1a, 0x0a]),
      chunk('IHDR', header),
      ...(told
        ? ['eXIf', 'tEXt', 'iTXt', 'zTXt', 'tIME'].map((type) => chunk(type, Buffer.from('where and when')))
        : []),
      chunk('IDAT', deflateSync(rows)),
      chunk('IEND', Buffer.alloc(0)),
    ]),
  );
}
