import { deflateSync, Zip, ZipPassThrough } from 'fflate';
import { hex, utf8 } from './octets.ts';
import type { Hash } from './signing.ts';
import { COMMENT, COMMENT_LENGTH, MOST_MEMBERS, MOST_OCTETS } from './zipLimits.ts';

/** Stored where packing would pass the reader's limit of what a harmless file can be. */
const STORED_BELOW = 512;

/** Packs octets as RFC 1951 says. */
export type Deflate = (octets: Uint8Array) => Uint8Array<ArrayBuffer>;

/** A member that is packed in one piece. */
class Packed extends ZipPassThrough {
  override readonly compression = 8;

  constructor(
    name: string,
    private readonly deflate: Deflate,
  ) {
    super(name);
  }

  protected override process(octets: Uint8Array, isLast: boolean): void {
    this.ondata(null, this.deflate(octets), isLast);
  }
}

/** Writes the zip file around a bag member by member; no more than one member is held. */
export class ZipWriter {
  private readonly zip: Zip;
  private octets = 0;
  private members = 0;

  constructor(
    private readonly write: (octets: Uint8Array) => void,
    private readonly hash: Hash,
    private readonly deflate: Deflate = (octets) => deflateSync(octets, { level: 6 }),
  ) {
    this.zip = new Zip((error, chunk, isLast) => {
      if (error !== null) throw error;
      this.take(chunk, isLast);
    });
  }

  /** @throws RangeError where the contents are larger than the reader takes */
  add(name: string, octets: Uint8Array): void {
    this.octets += octets.length;
    this.members++;
    if (this.octets > MOST_OCTETS || this.members > MOST_MEMBERS)
      throw new RangeError('too large for one bundle');
    const member = octets.length < STORED_BELOW ? new ZipPassThrough(name) : new Packed(name, this.deflate);
    // The earliest time that a zip file can tell, whatever the zone of this computer.
    member.mtime = new Date(1980, 0, 1);
    this.zip.add(member);
    member.push(octets, true);
  }

  /** The table of members, and the comment that holds the digest of all before it. */
  end(): void {
    this.zip.end();
    this.write(utf8(`${COMMENT}${hex(this.hash.digest())}`));
  }

  private take(chunk: Uint8Array, isLast: boolean): void {
    if (isLast) chunk[chunk.length - 2] = COMMENT_LENGTH;
    this.hash.update(chunk);
    this.write(chunk);
  }
}
