import { createPrivateKey, createPublicKey, generateKeyPairSync, sign, type KeyObject } from 'node:crypto';
import {
  appendFileSync,
  chmodSync,
  existsSync,
  linkSync,
  mkdirSync,
  readFileSync,
  renameSync,
  rmSync,
  writeFileSync,
} from 'node:fs';
import path from 'node:path';
import { canonicalJson } from '../evidence/canonical.ts';
import { hex, utf8 } from '../evidence/octets.ts';
import { base64, fingerprintOf, publicKeyOfPem, type Signer } from '../evidence/signing.ts';
import { NightdrawError } from '../messages/errors.ts';
import { nodeChecker } from './checker.ts';

/**
 * This computer's signing key: keys/signing.pem in the data folder (PKCS #8, readable by its owner only), made on
 * first use. keys/known.jsonl lists every key this folder ever signed with, each replacement signed by the key before.
 */

export interface KnownKey {
  readonly fingerprint: string;
  readonly publicKey: Uint8Array;
}

function folderOf(data: string): string {
  return path.join(data, 'keys');
}

function keyFile(data: string): string {
  return path.join(folderOf(data), 'signing.pem');
}

/** @throws NightdrawError store-failed where the key can neither be read nor made */
export function signerIn(data: string): Signer {
  return inFolder(data, () => {
    if (!existsSync(keyFile(data))) placeKey(data, newKeyText());
    return signerOf(readKey(data));
  });
}

/** Name of the key that signs now, 64 hexadecimal digits. @throws NightdrawError store-failed */
export function fingerprintIn(data: string): string {
  return fingerprintOf(signerIn(data).publicKey, nodeChecker.sha256);
}

/** Makes a new key; the old one signs that it is replaced, and is then gone. @returns the new one's signer */
export function replaceKey(data: string): Signer {
  const old = signerIn(data);
  return inFolder(data, () => {
    const text = newKeyText();
    const fresh = signerOf(createPrivateKey(text));
    const body = {
      schema: 'nightdraw.key/1',
      key: hex(fresh.publicKey),
      replaces: fingerprintOf(old.publicKey, nodeChecker.sha256),
    };
    const signature = base64(old.sign(utf8(canonicalJson(body))));
    const unfinished = `${keyFile(data)}.new`;
    writeFileSync(unfinished, text, { mode: 0o600, flush: true });
    appendFileSync(path.join(folderOf(data), 'known.jsonl'), `${canonicalJson({ ...body, signature })}\n`, {
      flush: true,
    });
    renameSync(unfinished, keyFile(data));
    return fresh;
  });
}

/** Every key that this data folder signed with, oldest first; a line that nobody signed is no key of ours. */
export function knownKeys(data: string): KnownKey[] {
  const file = path.join(folderOf(data), 'known.jsonl');
  if (!existsSync(file)) return [];
  const known: KnownKey[] = [];
  for (const line of readFileSync(file, 'utf8').split('\n').filter(Boolean)) {
    const { signature, ...body } = JSON.parse(line) as {
      key: string;
      replaces: string | null;
      signature?: string;
    };
    const publicKey = new Uint8Array(Buffer.from(body.key, 'hex'));
    const before = known.at(-1);
    const isFirst = before === undefined && body.replaces === null;
    const isSigned =
      before?.fingerprint === body.replaces &&
      signature !== undefined &&
      nodeChecker.verify(
        before.publicKey,
        utf8(canonicalJson(body)),
        new Uint8Array(Buffer.from(signature, 'base64')),
      );
    if (isFirst || isSigned)
      known.push({ fingerprint: fingerprintOf(publicKey, nodeChecker.sha256), publicKey });
  }
  return known;
}

/** The key appears under its name whole, and never over another that some other process made meanwhile. */
function placeKey(data: string, text: string): void {
  mkdirSync(folderOf(data), { recursive: true, mode: 0o700 });
  const unfinished = path.join(folderOf(data), `.${process.pid}.new`);
  writeFileSync(unfinished, text, { mode: 0o600, flush: true });
  try {
    linkSync(unfinished, keyFile(data));
    const { publicKey } = signerOf(createPrivateKey(text));
    const first = { schema: 'nightdraw.key/1', key: hex(publicKey), replaces: null };
    writeFileSync(path.join(folderOf(data), 'known.jsonl'), `${canonicalJson(first)}\n`, { flush: true });
  } catch (error) {
    if ((error as { code?: string }).code !== 'EEXIST') throw error;
  } finally {
    rmSync(unfinished, { force: true });
  }
}

function readKey(data: string): KeyObject {
  chmodSync(keyFile(data), 0o600);
  const key = createPrivateKey(readFileSync(keyFile(data)));
  if (key.asymmetricKeyType !== 'ed25519') throw new Error('it is not an Ed25519 key');
  return key;
}

function newKeyText(): string {
  return generateKeyPairSync('ed25519').privateKey.export({ type: 'pkcs8', format: 'pem' }).toString();
}

function signerOf(key: KeyObject): Signer {
  const pem = createPublicKey(key).export({ type: 'spki', format: 'pem' }).toString();
  return {
    publicKey: publicKeyOfPem(utf8(pem)),
    sign: (message) => new Uint8Array(sign(null, message, key)),
  };
}

function inFolder<T>(data: string, work: () => T): T {
  try {
    return work();
  } catch (error) {
    const why = error instanceof Error ? error.message : String(error);
    throw new NightdrawError(
      'store-failed',
      `The signing key ${keyFile(data)} cannot be used: ${why.replace(/\.$/, '')}.`,
    );
  }
}
