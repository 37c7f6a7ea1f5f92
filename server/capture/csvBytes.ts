import { gunzipSync } from 'node:zlib';
import { CsvReason } from './csvError.ts';

/** Longest text that is read from one file: 24 hours at 200 readings a second need about half of it. */
export const MAX_TEXT_BYTES = 1 << 30;

/**
 * The file's text as UTF-8 without its byte order mark: gzip is unpacked; UTF-16 (with its mark, as spreadsheets
 * write it) and Windows-1252 (anything that is not UTF-8) are brought to UTF-8.
 * @throws CsvReason
 */
export function csvText(bytes: Uint8Array): Uint8Array {
  const text = isGzip(bytes) ? unpacked(bytes) : bytes;
  if (text[0] === 0xef && text[1] === 0xbb && text[2] === 0xbf) return text.subarray(3);
  if (text[0] === 0xff && text[1] === 0xfe) return encoded(new TextDecoder('utf-16le').decode(text));
  if (text[0] === 0xfe && text[1] === 0xff) return encoded(new TextDecoder('utf-16be').decode(text));
  return isUtf8(text) ? text : encoded(new TextDecoder('windows-1252').decode(text));
}

function isGzip(bytes: Uint8Array): boolean {
  return bytes[0] === 0x1f && bytes[1] === 0x8b;
}

function unpacked(bytes: Uint8Array): Uint8Array {
  try {
    return gunzipSync(bytes, { maxOutputLength: MAX_TEXT_BYTES });
  } catch (error) {
    const tooLarge = (error as { code?: string }).code === 'ERR_BUFFER_TOO_LARGE';
    throw new CsvReason(
      tooLarge ? 'the unpacked file is larger than 1 GiB' : 'the gzip data are damaged or cut off',
    );
  }
}

function encoded(text: string): Uint8Array {
  return new TextEncoder().encode(text);
}

function isUtf8(text: Uint8Array): boolean {
  try {
    // In pieces, because one string holds at most half a gigabyte.
    const decoder = new TextDecoder('utf-8', { fatal: true });
    for (let i = 0; i < text.length; i += 1 << 20)
      decoder.decode(text.subarray(i, i + (1 << 20)), { stream: true });
    decoder.decode();
    return true;
  } catch {
    return false;
  }
}
