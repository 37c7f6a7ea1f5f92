import { hex, utf8 } from './octets.ts';
import type { Sha256 } from './signing.ts';
import type { Statement } from './statement.ts';
import type { Members } from './zip.ts';

/** BagIt 1.0 (RFC 8493): the files that make a folder a bag. */

export const BAGIT = 'BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n';

export const README = `This is the record of one night of a car's battery, sealed by Nightdraw.

data/        samples as the meters showed them, events, findings, report
manifest-sha256.txt lists every file under data/:   sha256sum -c manifest-sha256.txt
statement.json says what was sealed; statement.sig is its Ed25519 signature by the key in signer.pem:
  openssl pkeyutl -verify -pubin -inkey signer.pem -rawin -in statement.json -sigfile statement.sig
The key's fingerprint, to be compared with the one that the signer gives you:
  openssl pkey -pubin -in signer.pem -outform DER | sha256sum

The seal shows that nothing was changed since it was made, and by which key. It does not show that the clamp sat on
the right cable, that the clock was right, or who held the key.
`;

/** What a bag says of its files under data/. */
export interface FileFacts {
  readonly size: number;
  /** SHA-256, hexadecimal. */
  readonly digest: string;
}
export type Facts = ReadonlyMap<string, FileFacts>;

export function factsOf(files: Members, sha256: Sha256): Map<string, FileFacts> {
  const facts = new Map<string, FileFacts>();
  for (const [name, octets] of files) facts.set(name, { size: octets.length, digest: hex(sha256(octets)) });
  return facts;
}

/** A manifest (section 2.1.3): a line for each file, in the order of names. */
export function manifestOf(files: Facts): string {
  return [...files]
    .sort(([a], [b]) => (a < b ? -1 : 1))
    .map(([name, { digest }]) => `${digest}  ${name}\n`)
    .join('');
}

/** The digest of each file that a manifest names. @throws RangeError for a text that `manifestOf` does not write */
export function readManifest(text: string): Map<string, string> {
  const lines = text.split('\n');
  const entries = lines.slice(0, -1).map((line) => {
    const [, digest, name] = /^([0-9a-f]{64}) {2}(\S(?:.*\S)?)$/.exec(line) ?? [];
    if (digest === undefined || name === undefined) throw new RangeError('a line of the manifest is damaged');
    return [name, digest] as const;
  });
  const inOrder = entries.every(([name], i) => i === 0 || entries[i - 1]![0] < name);
  if (lines.at(-1) !== '' || !inOrder) throw new RangeError('the manifest is damaged');
  return new Map(entries);
}

/** bag-info.txt (section 2.2.2) follows from the statement and the files under data/. */
export function bagInfo({ program, sealedAt, recording }: Statement, payload: Facts): string {
  const octets = [...payload.values()].reduce((n, p) => n + p.size, 0);
  return [
    `Bag-Software-Agent: ${program.name} ${program.version}`,
    `Bagging-Date: ${sealedAt.slice(0, 10)}`,
    `External-Identifier: ${recording}`,
    `Payload-Oxum: ${octets}.${payload.size}`,
    '',
  ].join('\n');
}

/** The files outside data/ but for tagmanifest-sha256.txt itself. */
export function tagFiles(
  statement: Statement,
  statementOctets: Uint8Array,
  signature: Uint8Array,
  pem: string,
  payload: Facts,
  manifest: string,
): Map<string, Uint8Array> {
  return new Map([
    ['bagit.txt', utf8(BAGIT)],
    ['bag-info.txt', utf8(bagInfo(statement, payload))],
    ['manifest-sha256.txt', utf8(manifest)],
    ['README.txt', utf8(README)],
    ['signer.pem', utf8(pem)],
    ['statement.json', statementOctets],
    ['statement.sig', signature],
  ]);
}
