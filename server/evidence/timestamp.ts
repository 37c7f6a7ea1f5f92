import { contentOf, inside, isOid, readAll, TAG, write, type Der } from './der.ts';
import { concat, hex, sameOctets, unhex } from './octets.ts';
import type { Sha256 } from './signing.ts';

/**
 * Time stamps of RFC 3161 over the signature of a statement: the query for an authority, and its reply. Who the authority
 * is, and whether to trust it, is for the reader to check (openssl ts -verify).
 */

const OID = {
  sha256: '608648016503040201',
  signedData: '2a864886f70d010702',
  tstInfo: '2a864886f70d0109100104',
  messageDigest: '2a864886f70d010904',
} as const;
const ALGORITHM = write(TAG.sequence, write(TAG.oid, unhex(OID.sha256)), write(TAG.nothing));

/** The nonce follows from what is stamped, so that a reply can be held against it at any time. */
function nonceOf(imprint: Uint8Array, sha256: Sha256): Uint8Array {
  return concat(Uint8Array.of(0x5a), sha256(imprint).subarray(0, 7));
}

/** A TimeStampReq (section 2.4.1) over `octets`, asking for the authority's certificate too. */
export function timestampQuery(octets: Uint8Array, sha256: Sha256): Uint8Array {
  const imprint = sha256(octets);
  return write(
    TAG.sequence,
    write(TAG.integer, Uint8Array.of(1)),
    write(TAG.sequence, ALGORITHM, write(TAG.octets, imprint)),
    write(TAG.integer, nonceOf(imprint, sha256)),
    write(TAG.boolean, Uint8Array.of(0xff)),
  );
}

export interface Timestamp {
  /** The time that the authority states, UTC. */
  readonly at: string;
  readonly serial: string;
  /** What the authority signed, for a check of its signature. */
  readonly signed: {
    /** Content of the TSTInfo. */
    readonly info: Uint8Array;
    /** The signed attributes as they are hashed: a SET OF. */
    readonly attributes: Uint8Array;
    readonly infoDigest: Uint8Array;
    readonly digestOid: string;
    readonly signature: Uint8Array;
    readonly certificates: readonly Uint8Array[];
  };
}

/**
 * Reads a TimeStampResp (section 2.4.2) and holds it against what it must stamp.
 * @throws RangeError saying why it is no time stamp of these octets
 */
export function readTimestamp(reply: Uint8Array, octets: Uint8Array, sha256: Sha256): Timestamp {
  const [response, ...rest] = readAll(reply);
  if (rest.length > 0) throw new RangeError('octets follow the reply');
  const [status, token] = inside(response, TAG.sequence);
  const granted = contentOf(inside(status, TAG.sequence)[0], TAG.integer);
  if (granted.length !== 1 || granted[0]! > 1 || token === undefined)
    throw new RangeError('the authority did not grant a time stamp');
  const [type, wrapped] = inside(token, TAG.sequence);
  if (!isOid(type, OID.signedData)) throw new RangeError('the reply holds no signed data');
  const signedData = inside(inside(wrapped, 0xa0)[0], TAG.sequence);
  const [infoType, infoWrapped] = inside(signedData[2], TAG.sequence);
  if (!isOid(infoType, OID.tstInfo)) throw new RangeError('the reply holds no time stamp');
  const info = contentOf(inside(infoWrapped, 0xa0)[0], TAG.octets);
  const imprint = sha256(octets);
  const { at, serial } = readInfo(info, imprint, nonceOf(imprint, sha256));
  return { at, serial, signed: { info, ...readSigner(signedData) } };
}

function readInfo(info: Uint8Array, imprint: Uint8Array, nonce: Uint8Array): { at: string; serial: string } {
  const [version, , messageImprint, serial, time, ...options] = inside(readAll(info)[0], TAG.sequence);
  if (hex(contentOf(version, TAG.integer)) !== '01')
    throw new RangeError('the time stamp is of an unknown version');
  const [algorithm, digest] = inside(messageImprint, TAG.sequence);
  const isSha256 = isOid(inside(algorithm, TAG.sequence)[0], OID.sha256);
  if (!isSha256 || !sameOctets(contentOf(digest, TAG.octets), imprint))
    throw new RangeError('the time stamp is of something else');
  const given = options.find((o) => o.tag === TAG.integer);
  if (given !== undefined && !sameOctets(given.content, nonce))
    throw new RangeError('the time stamp answers another query');
  const text = String.fromCharCode(...contentOf(time, TAG.time));
  const [, y, mo, d, h, mi, s, part = ''] =
    /^(\d{4})(\d\d)(\d\d)(\d\d)(\d\d)(\d\d)(\.\d+)?Z$/.exec(text) ?? [];
  if (s === undefined) throw new RangeError('the time stamp has no time in UTC');
  return { at: `${y}-${mo}-${d}T${h}:${mi}:${s}${part}Z`, serial: hex(contentOf(serial, TAG.integer)) };
}

/** The first signer (RFC 5652, section 5.3). */
function readSigner(signedData: readonly Der[]): Omit<Timestamp['signed'], 'info'> {
  const certificates = signedData.find((e) => e.tag === 0xa0);
  const signer = inside(inside(signedData.at(-1), TAG.set)[0], TAG.sequence);
  const [, , digestAlgorithm, attributes, , signature] = signer;
  if (attributes?.tag !== 0xa0) throw new RangeError('the time stamp has no signed attributes');
  const digest = readAll(attributes.content)
    .map((attribute) => inside(attribute, TAG.sequence))
    .find(([type]) => isOid(type, OID.messageDigest));
  return {
    // Hashed as the SET OF that it is, not with the tag that it is sent with (RFC 5652, section 5.4).
    attributes: write(TAG.set, attributes.content),
    infoDigest: contentOf(inside(digest?.[1], TAG.set)[0], TAG.octets),
    digestOid: hex(contentOf(inside(digestAlgorithm, TAG.sequence)[0], TAG.oid)),
    signature: contentOf(signature, TAG.octets),
    certificates: certificates === undefined ? [] : readAll(certificates.content).map((c) => c.whole),
  };
}
