import { inflateSync } from 'fflate';
import { concat, hex } from './octets.ts';
import { PackedMembers } from './packedMembers.ts';
import type { Sha256 } from './signing.ts';
import { COMMENT, COMMENT_LENGTH, FREE_OCTETS, MOST_MEMBERS, MOST_OCTETS, MOST_RATIO } from './zipLimits.ts';
import { ZipWriter } from './zipWriter.ts';

/**
 * The zip file around a bag (PKWARE APPNOTE 6.3). Its comment holds the SHA-256 of everything before the comment, so
 * that a change of any bit shows. The reader takes only the plain and safe part of the format.
 */

export type Members = ReadonlyMap<string, Uint8Array>;

/** The zip file is damaged or is not one that may safely be unpacked. */
export class ZipError extends Error {
  override readonly name = 'ZipError';
}

export interface Unzipped {
  /** A damaged one throws a ZipError when it is read. */
  readonly members: PackedMembers;
  /** `as-written` by Nightdraw to the last bit, or packed `anew` by some other program. */
  readonly container: 'as-written' | 'anew';
}

const END = 22;

/** @throws RangeError where the contents are larger than the reader takes */
export function zip(members: Members, sha256: Sha256): Uint8Array {
  const chunks: Uint8Array[] = [];
  const digest = () => sha256(concat(...chunks));
  const writer = new ZipWriter((octets) => void chunks.push(octets), { update: () => undefined, digest });
  for (const [name, octets] of members) writer.add(name, octets);
  writer.end();
  return concat(...chunks);
}

/** @throws ZipError where the file cannot safely be looked into */
export function unzip(file: Uint8Array, sha256: Sha256): Unzipped {
  const view = new DataView(file.buffer, file.byteOffset, file.byteLength);
  const end = endOf(file, view);
  const commentLength = view.getUint16(end + 20, true);
  const container = commentLength === 0 ? 'anew' : checkedComment(file, end, sha256);
  const count = view.getUint16(end + 10, true);
  const centralAt = view.getUint32(end + 16, true);
  const central = view.getUint32(end + 12, true);
  if (view.getUint32(end + 4, true) !== 0 || view.getUint16(end + 8, true) !== count)
    throw new ZipError('it is one part of several');
  if (count > MOST_MEMBERS) throw new ZipError('it has too many members');
  if (centralAt + central !== end) throw new ZipError('its table of members is not where it should be');
  const entries = readTable(file, view, centralAt, end, count);
  checkSizes(entries, file.length);
  const packed = entries.map((e) => [e.name, () => unpacked(file, e)] as const);
  return { members: new PackedMembers(new Map(packed)), container };
}

function endOf(file: Uint8Array, view: DataView): number {
  for (const end of [file.length - END - COMMENT_LENGTH, file.length - END])
    if (
      end >= 0 &&
      view.getUint32(end, true) === 0x06054b50 &&
      view.getUint16(end + 20, true) === file.length - end - END
    )
      return end;
  throw new ZipError('it is no zip file, or its end is missing or changed');
}

function checkedComment(file: Uint8Array, end: number, sha256: Sha256): 'as-written' {
  const comment = String.fromCharCode(...file.subarray(end + END));
  if (comment !== `${COMMENT}${hex(sha256(file.subarray(0, end + END)))}`)
    throw new ZipError('the file is not, bit for bit, the one that Nightdraw wrote');
  return 'as-written';
}

interface Entry {
  readonly name: string;
  readonly method: number;
  readonly from: number;
  readonly packedSize: number;
  readonly size: number;
}

function readTable(file: Uint8Array, view: DataView, centralAt: number, end: number, count: number): Entry[] {
  const entries: Entry[] = [];
  const names = new Set<string>();
  let at = centralAt;
  for (let i = 0; i < count; i++) {
    if (at + 46 > end || view.getUint32(at, true) !== 0x02014b50)
      throw new ZipError('its table of members is damaged');
    const [nameLength, extra, note] = [28, 30, 32].map((o) => view.getUint16(at + o, true)) as [
      number,
      number,
      number,
    ];
    const name = String.fromCharCode(...file.subarray(at + 46, at + 46 + nameLength));
    const entry = {
      name,
      method: view.getUint16(at + 10, true),
      packedSize: view.getUint32(at + 20, true),
      size: view.getUint32(at + 24, true),
    };
    if ((view.getUint16(at + 8, true) & 0x2041) !== 0) throw new ZipError('a member is encrypted');
    // Links and devices: the upper half of the attributes is a Unix mode.
    const mode = view.getUint32(at + 38, true) >>> 16;
    if (![0, 0o100000, 0o040000].includes(mode & 0o170000))
      throw new ZipError('a member is not a plain file');
    const local = view.getUint32(at + 42, true);
    at += 46 + nameLength + extra + note;
    if (name.endsWith('/') && entry.size === 0) continue;
    if (!isSafe(name)) throw new ZipError('a member has a name that is not allowed');
    if (names.has(name.toLowerCase())) throw new ZipError('it has a member twice');
    names.add(name.toLowerCase());
    entries.push({
      ...entry,
      from: localData(file, view, local, name, entry.method, centralAt, entry.packedSize),
    });
  }
  if (at !== end) throw new ZipError('its table of members is damaged');
  let free = 0;
  for (const e of entries.toSorted((a, b) => a.from - b.from)) {
    if (e.from < free) throw new ZipError('two members share their octets');
    free = e.from + e.packedSize;
  }
  return entries;
}

/** Plain names only: nothing absolute, no way up, no drive, nothing hidden. */
function isSafe(name: string): boolean {
  return name.length <= 200 && /^[A-Za-z0-9_-][A-Za-z0-9._-]*(?:\/[A-Za-z0-9_-][A-Za-z0-9._-]*)*$/.test(name);
}

function localData(
  file: Uint8Array,
  view: DataView,
  at: number,
  name: string,
  method: number,
  limit: number,
  packedSize: number,
): number {
  if (at + 30 > limit || view.getUint32(at, true) !== 0x04034b50)
    throw new ZipError('a member is not where the table says');
  const from = at + 30 + view.getUint16(at + 26, true) + view.getUint16(at + 28, true);
  const here = String.fromCharCode(...file.subarray(at + 30, at + 30 + view.getUint16(at + 26, true)));
  if (here !== name || view.getUint16(at + 8, true) !== method)
    throw new ZipError('a member contradicts the table of members');
  if (from + packedSize > limit) throw new ZipError('a member is cut short');
  return from;
}

function checkSizes(entries: readonly Entry[], fileSize: number): void {
  const total = entries.reduce((n, e) => n + e.size, 0);
  if (total > MOST_OCTETS || total > FREE_OCTETS + MOST_RATIO * fileSize)
    throw new ZipError('it would grow beyond all measure when unpacked');
}

function unpacked(file: Uint8Array, { method, from, packedSize, size }: Entry): Uint8Array {
  const packed = file.subarray(from, from + packedSize);
  if (method === 0 && packedSize === size) return packed.slice();
  if (method !== 8) throw new ZipError('a member is packed in an unknown way');
  let octets: Uint8Array;
  try {
    // One octet of room, so that more than was said shows.
    octets = inflateSync(packed, { out: new Uint8Array(size + 1) });
  } catch {
    throw new ZipError('a member is damaged');
  }
  if (octets.length !== size) throw new ZipError('a member is not as long as the table says');
  return octets;
}
