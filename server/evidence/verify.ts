import { ANALYSIS_REVISION } from '../battery/revision.ts';
import type { Findings } from '../messages/findings.ts';
import { bagInfo, BAGIT, factsOf, manifestOf, README, readManifest, type FileFacts } from './bag.ts';
import { analyseAgain, readContents, sameFindings, type Contents } from './contents.ts';
import { faultOfHeads } from './heads.ts';
import { leafHash, rootOf } from './merkle.ts';
import { hex, textOfUtf8, unhex, utf8 } from './octets.ts';
import { fingerprintOf, publicKeyOfPem, type Checker } from './signing.ts';
import { readDocument, statementSchema, type Statement } from './statement.ts';
import { readTimestamp } from './timestamp.ts';
import { unzip, ZipError, type Members, type Unzipped } from './zip.ts';

export interface Difference {
  readonly file: string;
  /** The block of samples or events, from 1; null for another file. */
  readonly block: number | null;
  /** The block's time range, seconds from the recording's start. */
  readonly fromS: number | null;
  readonly toS: number | null;
  readonly what: 'changed' | 'missing' | 'not-sealed' | 'not-valid';
}

export interface Verification {
  /** `unreadable`: no bundle that can be looked into. `changed`: it differs from what was sealed. */
  readonly status: 'intact' | 'changed' | 'unreadable';
  /** The one clear answer. */
  readonly sentence: string;
  readonly differences: readonly Difference[];
  /** What is wrong beyond single files. */
  readonly faults: readonly string[];
  readonly container: Unzipped['container'] | null;
  readonly statement: Statement | null;
  /** Null where the signature is not that of the key in the bundle. */
  readonly signedBy: string | null;
  readonly findings: { readonly sealed: Findings; readonly now: Findings; readonly same: boolean } | null;
  /** When a time-stamping authority says it had the signature; its own signature is for openssl to check. */
  readonly stampedAt: string | null;
  /** Null unless intact. */
  readonly contents: Contents | null;
}

export interface VerifyOptions {
  /** The signer's fingerprint as it was told some other way. */
  readonly key?: string | undefined;
  /** Revision of the analysis that looks again, to tell a changed analysis from changed findings. */
  readonly revision?: number;
}

/** Checks a sealed bundle. Pure and total: it writes nothing and throws on no input. */
export function verifyBundle(file: Uint8Array, checker: Checker, options: VerifyOptions = {}): Verification {
  const nothing = { differences: [], faults: [], container: null, statement: null, signedBy: null };
  try {
    const { members, container } = unzip(file, checker.sha256);
    return new Check(bagIn(members), checker, options, container).run();
  } catch (error) {
    if (!(error instanceof ZipError)) throw error;
    const sentence = `This is not an intact sealed bundle: ${error.message}.`;
    return { ...nothing, status: 'unreadable', sentence, findings: null, stampedAt: null, contents: null };
  }
}

interface Bag {
  readonly name: string;
  readonly tags: Members;
  /** Unpacked anew at each reading. */
  readonly payload: Members;
}

function bagIn(members: Unzipped['members']): Bag {
  const [first] = members.keys();
  const name = first?.split('/')[0] ?? '';
  const bare = members.renamed((path) => path.slice(name.length + 1));
  if ([...members.keys()].some((path) => !path.startsWith(`${name}/`)) || !bare.has('bagit.txt'))
    throw new ZipError('there is no single bag (RFC 8493) in it');
  const isPayload = (path: string) => path.startsWith('data/');
  return {
    name,
    tags: new Map(bare.renamed((path) => (isPayload(path) ? null : path))),
    payload: bare.renamed((path) => (isPayload(path) ? path : null)),
  };
}

/** Files outside data/ that every bundle has. */
const TAGS = [
  'README.txt',
  'bag-info.txt',
  'bagit.txt',
  'manifest-sha256.txt',
  'signer.pem',
  'statement.json',
  'statement.sig',
  'tagmanifest-sha256.txt',
];
const OPTIONAL_TAGS = ['timestamp.tsr'];

class Check {
  private readonly differences: Difference[] = [];
  private readonly faults: string[] = [];
  private statement: Statement | null = null;
  private signedBy: string | null = null;
  /** Of each file under data/: size, digest, and its hash as a leaf of the tree. */
  private readonly facts = new Map<string, FileFacts & { readonly leaf: string }>();

  constructor(
    private readonly bag: Bag,
    private readonly checker: Checker,
    private readonly options: VerifyOptions,
    private readonly container: Unzipped['container'],
  ) {}

  run(): Verification {
    this.readStatement();
    this.readPayload();
    this.checkTags();
    this.checkPayload();
    if (this.statement !== null) this.checkTree(this.statement);
    const stampedAt = this.checkTimestamp();
    const contents = this.isClean() && this.statement !== null ? this.contentsOf(this.statement) : null;
    const findings = contents === null ? null : this.findingsOf(contents);
    const isIntact = this.isClean() && contents !== null;
    return {
      status: isIntact ? 'intact' : 'changed',
      sentence: this.sentence(isIntact),
      differences: this.differences,
      faults: this.faults,
      container: this.container,
      statement: this.statement,
      signedBy: this.signedBy,
      findings,
      stampedAt,
      contents: isIntact ? contents : null,
    };
  }

  private isClean(): boolean {
    return this.differences.length === 0 && this.faults.length === 0;
  }

  private readStatement(): void {
    const { tags, name } = this.bag;
    const [octets, signature, pem] = ['statement.json', 'statement.sig', 'signer.pem'].map((f) =>
      tags.get(f),
    );
    const key = pem === undefined ? null : orNull(() => publicKeyOfPem(pem));
    if (key === null) this.differ('signer.pem', pem === undefined ? 'missing' : 'not-valid');
    if (octets === undefined || signature === undefined || key === null) return;
    if (!this.checker.verify(key, octets, signature)) {
      this.faults.push('The signature does not fit the statement and the key in the bundle.');
      return;
    }
    this.signedBy = fingerprintOf(key, this.checker.sha256);
    this.statement = orNull(() => readDocument(statementSchema, octets));
    if (this.statement === null) {
      this.faults.push('The statement is signed but is not one that this version understands.');
      return;
    }
    if (this.statement.key !== this.signedBy)
      this.faults.push('The statement names another key than the one in the bundle.');
    if (this.statement.bag !== name)
      this.faults.push(`The bag was sealed under the name ${this.statement.bag}, not ${name}.`);
    const wanted = this.options.key?.toLowerCase().replace(/\s/g, '');
    if (wanted !== undefined && wanted !== this.signedBy)
      this.faults.push(`It is signed by the key ${this.signedBy}, not by the one that was asked for.`);
  }

  private readPayload(): void {
    const { sha256 } = this.checker;
    for (const [name, octets] of this.bag.payload)
      this.facts.set(name, {
        size: octets.length,
        digest: hex(sha256(octets)),
        leaf: hex(leafHash(octets, sha256)),
      });
  }

  private checkTags(): void {
    const { tags } = this.bag;
    const { sha256 } = this.checker;
    for (const name of TAGS) if (!tags.has(name)) this.differ(name, 'missing');
    for (const name of tags.keys())
      if (!TAGS.includes(name) && !OPTIONAL_TAGS.includes(name)) this.differ(name, 'not-sealed');
    const expected = new Map([
      ['bagit.txt', BAGIT],
      ['README.txt', README],
      ...(this.statement === null ? [] : [['bag-info.txt', bagInfo(this.statement, this.facts)] as const]),
    ]);
    for (const [name, text] of expected) {
      const octets = tags.get(name);
      if (octets !== undefined && hex(octets) !== hex(utf8(text))) this.differ(name, 'changed');
    }
    const listed = new Map([...tags].filter(([name]) => name !== 'tagmanifest-sha256.txt'));
    const manifest = tags.get('tagmanifest-sha256.txt');
    if (manifest !== undefined && hex(manifest) !== hex(utf8(manifestOf(factsOf(listed, sha256)))))
      this.differ('tagmanifest-sha256.txt', 'changed');
  }

  private checkPayload(): void {
    const { sha256 } = this.checker;
    const octets = this.bag.tags.get('manifest-sha256.txt');
    if (octets === undefined) return;
    if (this.statement !== null && this.statement.manifest !== hex(sha256(octets)))
      this.differ('manifest-sha256.txt', 'changed');
    const manifest = orNull(() => readManifest(textOfUtf8(octets)));
    if (manifest === null) return this.differ('manifest-sha256.txt', 'not-valid');
    for (const [name, digest] of manifest) {
      const present = this.facts.get(name);
      if (present === undefined) this.differ(name, 'missing');
      else if (present.digest !== digest) this.differ(name, 'changed');
    }
    for (const name of this.bag.payload.keys()) if (!manifest.has(name)) this.differ(name, 'not-sealed');
  }

  private checkTree({ tree, heads }: Statement): void {
    const { sha256 } = this.checker;
    const hashes = tree.leaves.map((leaf) => unhex(leaf.hash));
    if (hex(rootOf(hashes, sha256)) !== tree.root)
      this.faults.push('The root of the tree is not that of its leaves.');
    for (const leaf of tree.leaves) {
      const present = this.facts.get(leaf.file);
      if (leaf.withheld ? present !== undefined : present === undefined)
        this.differ(leaf.file, leaf.withheld ? 'not-sealed' : 'missing');
      else if (present !== undefined && present.leaf !== leaf.hash) this.differ(leaf.file, 'changed');
    }
    const log = this.bag.payload.get('data/heads.jsonl');
    const lines = log === undefined ? [] : (orNull(() => textOfUtf8(log)) ?? '').split('\n').slice(0, -1);
    if (lines.length !== heads)
      this.faults.push(`The log kept while recording has ${lines.length} heads; ${heads} were sealed.`);
    const fault = faultOfHeads(lines, hashes, this.checker);
    if (fault !== null) this.faults.push(fault);
  }

  private checkTimestamp(): string | null {
    const { tags } = this.bag;
    const [reply, signature] = [tags.get('timestamp.tsr'), tags.get('statement.sig')];
    if (reply === undefined || signature === undefined) return null;
    const timestamp = orNull(() => readTimestamp(reply, signature, this.checker.sha256));
    if (timestamp === null) this.differ('timestamp.tsr', 'not-valid');
    return timestamp?.at ?? null;
  }

  private contentsOf(statement: Statement): Contents | null {
    try {
      return readContents(statement, this.bag.payload);
    } catch (error) {
      if (!(error instanceof RangeError)) throw error;
      this.faults.push(`What was sealed cannot be read: ${error.message}.`);
      return null;
    }
  }

  private findingsOf(contents: Contents): Verification['findings'] {
    if (contents.findings === null) return null;
    const { findings: sealed, options, analysis } = contents.findings;
    const now = analyseAgain(contents, options);
    const same = sameFindings(sealed, now);
    if (!same && (analysis ?? 1) === (this.options.revision ?? ANALYSIS_REVISION))
      this.faults.push('The sealed findings are not what the same analysis finds in the sealed samples.');
    return { sealed, now, same };
  }

  private differ(file: string, what: Difference['what']): void {
    if (this.differences.some((d) => d.file === file)) return;
    const leaves = this.statement?.tree.leaves ?? [];
    const index = leaves.findIndex((leaf) => leaf.file === file);
    const leaf = leaves[index];
    this.differences.push({
      file,
      what,
      block: leaf === undefined ? null : index + 1,
      fromS: leaf === undefined ? null : leaf.fromMs / 1000,
      toS: leaf === undefined ? null : leaf.toMs / 1000,
    });
  }

  private sentence(isIntact: boolean): string {
    if (isIntact)
      return `Intact: nothing was changed since it was sealed on ${utcText(this.statement!.sealedAt)}.`;
    const first =
      this.differences.length > 0 ? `${files(this.differences.length)} not as sealed.` : this.faults[0]!;
    return `Not intact: ${first}`;
  }
}

function utcText(iso: string): string {
  return `${iso.slice(0, 10)} at ${iso.slice(11, 19)} UTC`;
}

function files(n: number): string {
  return n === 1 ? '1 file is' : `${n} files are`;
}

function orNull<T>(work: () => T): T | null {
  try {
    return work();
  } catch (error) {
    if (error instanceof RangeError) return null;
    throw error;
  }
}
