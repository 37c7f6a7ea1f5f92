import { rootOf } from './merkle.ts';
import { hex, unhex, utf8 } from './octets.ts';
import { base64, unbase64, type Checker, type Sha256, type Signer } from './signing.ts';
import { document, readDocument, signedHeadSchema, type Head } from './statement.ts';

/** The log of signed heads: each line says how many leaves there were at a time, and their root. */

/** One line of the log, without its line feed. */
export function signHead(head: Omit<Head, 'schema' | 'key'>, signer: Signer): string {
  const full: Head = { schema: 'nightdraw.head/1', ...head, key: hex(signer.publicKey) };
  const signature = base64(signer.sign(document(full)));
  return String.fromCharCode(...document({ head: full, signature }));
}

export function lineDigest(line: string, sha256: Sha256): string {
  return hex(sha256(utf8(line)));
}

/** @throws RangeError where the line is no head, or its signature is not by the key that it names */
export function readHead(line: string, checker: Checker): Head {
  const { head, signature } = readDocument(signedHeadSchema, utf8(line));
  if (!checker.verify(unhex(head.key), document(head), unbase64(signature)))
    throw new RangeError('a head of the log is not signed by the key that it names');
  return head;
}

/**
 * What is wrong with a log of heads over these leaves: each head must be signed, follow the one before, and be the
 * root of the first so many leaves. Null where nothing is.
 */
export function faultOfHeads(
  lines: readonly string[],
  hashes: readonly Uint8Array[],
  checker: Checker,
): string | null {
  let before: { readonly head: Head; readonly digest: string } | null = null;
  for (const [i, line] of lines.entries()) {
    let head: Head;
    try {
      head = readHead(line, checker);
    } catch (error) {
      if (!(error instanceof RangeError)) throw error;
      return `Head ${i + 1} of the log kept while recording is damaged or not signed.`;
    }
    if (head.previous !== (before?.digest ?? null) || (before !== null && head.log !== before.head.log))
      return `Head ${i + 1} of the log kept while recording does not follow the one before.`;
    if (head.size > hashes.length || head.size < (before?.head.size ?? 1))
      return `Head ${i + 1} of the log kept while recording counts ${head.size} blocks, of which there are ${hashes.length}.`;
    if (head.root !== hex(rootOf(hashes.slice(0, head.size), checker.sha256)))
      return `The first ${head.size} blocks are not those that were signed at ${head.at}.`;
    before = { head, digest: lineDigest(line, checker.sha256) };
  }
  return null;
}
