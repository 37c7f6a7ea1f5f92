import { createHash, verify, X509Certificate } from 'node:crypto';
import { packBag } from '../evidence/bundle.ts';
import { readTimestamp, timestampQuery, type Timestamp } from '../evidence/timestamp.ts';
import { verifyBundle } from '../evidence/verify.ts';
import { unzip } from '../evidence/zip.ts';
import { NightdrawError } from '../messages/errors.ts';
import { nodeChecker } from './checker.ts';

const { sha256 } = nodeChecker;
/** Digests of a signer, by the content of their object identifier (RFC 5754). */
const DIGESTS: Readonly<Record<string, string>> = {
  '608648016503040201': 'sha256',
  '608648016503040202': 'sha384',
  '608648016503040203': 'sha512',
};

/** The query for any authority (RFC 3161) over a bundle's signature. @throws NightdrawError unreadable-file */
export function queryFor(bundle: Uint8Array): Uint8Array {
  return timestampQuery(signatureIn(bundle), sha256);
}

/**
 * The same bundle with the authority's reply in it, checked: granted, of this signature, and signed by the certificate
 * that came along. Whether that certificate is to be trusted is not checked.
 * @throws NightdrawError unreadable-file
 */
export function withTimestamp(
  bundle: Uint8Array,
  reply: Uint8Array,
): { readonly bundle: Uint8Array; readonly timestamp: Timestamp } {
  const stamped = signatureIn(bundle);
  try {
    const timestamp = readTimestamp(reply, stamped, sha256);
    checkSigner(timestamp);
    return { bundle: embedded(bundle, reply), timestamp };
  } catch (error) {
    if (!(error instanceof RangeError)) throw error;
    throw new NightdrawError(
      'unreadable-file',
      `The reply is no time stamp of this bundle: ${error.message}.`,
    );
  }
}

/** @throws RangeError where no certificate of the reply fits its signature */
export function checkSigner({ signed }: Timestamp): void {
  const digest = DIGESTS[signed.digestOid];
  if (digest === undefined) throw new RangeError('it is signed over an unknown digest');
  if (!createHash(digest).update(signed.info).digest().equals(signed.infoDigest))
    throw new RangeError('its content was changed');
  const fits = signed.certificates.some((der) => isSignedBy(der, digest, signed));
  if (!fits) throw new RangeError('no certificate in it fits its signature');
}

function isSignedBy(
  der: Uint8Array,
  digest: string,
  { attributes, signature }: Timestamp['signed'],
): boolean {
  try {
    return verify(digest, attributes, new X509Certificate(der).publicKey, signature);
  } catch {
    return false;
  }
}

function signatureIn(bundle: Uint8Array): Uint8Array {
  const { status, sentence, statement } = verifyBundle(bundle, nodeChecker);
  if (status !== 'intact') throw new NightdrawError('unreadable-file', sentence);
  return unzip(bundle, sha256).members.get(`${statement!.bag}/statement.sig`)!;
}

function embedded(bundle: Uint8Array, reply: Uint8Array): Uint8Array {
  const members = [...unzip(bundle, sha256).members];
  const bag = members[0]![0].split('/')[0]!;
  const files = members.map(([name, octets]) => [name.slice(bag.length + 1), octets] as const);
  const payload = new Map(files.filter(([name]) => name.startsWith('data/')));
  const tags = new Map(
    files.filter(([name]) => !name.startsWith('data/') && name !== 'tagmanifest-sha256.txt'),
  ).set('timestamp.tsr', reply);
  return packBag(bag, tags, payload, sha256);
}
