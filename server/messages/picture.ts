import { NightdrawError } from './errors.ts';

/** A picture as its file says of itself, and its octets without what tells place, camera and time. */
export interface Picture {
  readonly type: 'image/jpeg' | 'image/png';
  readonly widthPx: number;
  readonly heightPx: number;
  readonly octets: Uint8Array<ArrayBuffer>;
}

/**
 * Reads what the octets themselves say, whatever their name or declared type: JPEG (ITU-T T.81, annex B) or PNG (W3C,
 * third edition). Application segments and comments of a JPEG go, but for colour profile (APP2) and colour transform
 * (APP14); of a PNG go text, time and Exif chunks.
 * @throws NightdrawError unreadable-file for anything else and for a file that is cut off
 */
export function readPicture(octets: Uint8Array): Picture {
  try {
    if (octets[0] === 0xff && octets[1] === 0xd8 && octets[2] === 0xff) return readJpeg(octets);
    if (PNG_SIGNATURE.every((octet, i) => octets[i] === octet)) return readPng(octets);
  } catch (error) {
    if (!(error instanceof RangeError)) throw error;
    throw new NightdrawError('unreadable-file', 'The picture is cut off or damaged.');
  }
  throw new NightdrawError('unreadable-file', 'That is not a picture: only JPEG and PNG are taken.');
}

const SOI = 0xd8;
const EOI = 0xd9;
const SOS = 0xda;
const COM = 0xfe;
/** Start of frame, baseline to lossless: C0 to CF without the tables C4 and CC and the reserved C8. */
const isFrame = (marker: number): boolean =>
  marker >= 0xc0 && marker <= 0xcf && marker !== 0xc4 && marker !== 0xc8 && marker !== 0xcc;
const isTold = (marker: number): boolean =>
  marker === COM || (marker >= 0xe0 && marker <= 0xef && marker !== 0xe2 && marker !== 0xee);

function readJpeg(octets: Uint8Array): Picture {
  const view = new DataView(octets.buffer, octets.byteOffset, octets.byteLength);
  const kept: Uint8Array[] = [Uint8Array.of(0xff, SOI)];
  let size: { widthPx: number; heightPx: number } | null = null;
  let at = 2;
  for (;;) {
    if (view.getUint8(at) !== 0xff) throw new RangeError('no marker');
    // Any number of fill octets may stand before a marker (B.1.1.2).
    while (view.getUint8(at + 1) === 0xff) at++;
    const marker = view.getUint8(at + 1);
    if (marker === EOI) throw new RangeError('ends before its picture');
    const length = view.getUint16(at + 2);
    const end = at + 2 + length;
    if (length < 2 || end > octets.length) throw new RangeError('segment is cut off');
    if (isFrame(marker)) size = { heightPx: view.getUint16(at + 5), widthPx: view.getUint16(at + 7) };
    if (marker === SOS) break;
    if (!isTold(marker)) kept.push(octets.subarray(at, end));
    at = end;
  }
  if (size === null || size.widthPx === 0 || size.heightPx === 0) throw new RangeError('no size');
  kept.push(octets.subarray(at, endOfScans(octets, at)));
  return { type: 'image/jpeg', ...size, octets: joined(kept) };
}

/** After the end marker a phone may keep a second picture, a film or its maker's notes: none of it is kept. */
function endOfScans(octets: Uint8Array, from: number): number {
  for (let i = from; i + 1 < octets.length; i++)
    if (octets[i] === 0xff && octets[i + 1] === EOI) return i + 2;
  throw new RangeError('no end');
}

const PNG_SIGNATURE = [0x89, 0x50, 0x4e, 0x47, 0x0d, 0x0a, 0x1a, 0x0a];
const PNG_TOLD = new Set(['eXIf', 'tEXt', 'iTXt', 'zTXt', 'tIME']);

function readPng(octets: Uint8Array): Picture {
  const view = new DataView(octets.buffer, octets.byteOffset, octets.byteLength);
  const kept: Uint8Array[] = [octets.subarray(0, 8)];
  let size: { widthPx: number; heightPx: number } | null = null;
  for (let at = 8; ;) {
    const length = view.getUint32(at);
    const type = String.fromCharCode(...octets.subarray(at + 4, at + 8));
    const end = at + 12 + length;
    if (end > octets.length) throw new RangeError('chunk is cut off');
    if (at === 8 && type !== 'IHDR') throw new RangeError('no header');
    if (type === 'IHDR') size = { widthPx: view.getUint32(at + 8), heightPx: view.getUint32(at + 12) };
    if (!PNG_TOLD.has(type)) kept.push(octets.subarray(at, end));
    if (type === 'IEND') break;
    at = end;
  }
  if (size === null || size.widthPx === 0 || size.heightPx === 0) throw new RangeError('no size');
  return { type: 'image/png', ...size, octets: joined(kept) };
}

function joined(parts: readonly Uint8Array[]): Uint8Array<ArrayBuffer> {
  const out = new Uint8Array(parts.reduce((n, p) => n + p.length, 0));
  let at = 0;
  for (const part of parts) {
    out.set(part, at);
    at += part.length;
  }
  return out;
}
