import { execFileSync } from 'node:child_process';
import { mkdtempSync, readFileSync, rmSync, statSync, writeFileSync, appendFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import path from 'node:path';
import { afterEach, beforeEach, expect, test } from 'vitest';
import { utf8 } from '../../server/evidence/octets.ts';
import { fingerprintOf } from '../../server/evidence/signing.ts';
import { nodeChecker } from '../../server/sealing/checker.ts';
import { knownKeys, replaceKey, signerIn } from '../../server/sealing/keyFile.ts';

let data: string;
beforeEach(() => (data = mkdtempSync(path.join(tmpdir(), 'nightdraw-keys-'))));
afterEach(() => rmSync(data, { recursive: true }));

const keyFile = () => path.join(data, 'keys', 'signing.pem');
const fingerprint = (key: Uint8Array) => fingerprintOf(key, nodeChecker.sha256);

test('the key is made on first use, readable by its owner only, and stays', () => {
  const first = signerIn(data);
  expect(statSync(keyFile()).mode & 0o777).toBe(0o600);
  expect(statSync(path.dirname(keyFile())).mode & 0o777).toBe(0o700);
  const again = signerIn(data);
  expect(again.publicKey).toEqual(first.publicKey);
  const message = utf8('a night');
  expect(nodeChecker.verify(first.publicKey, message, again.sign(message))).toBe(true);
  expect(knownKeys(data).map((k) => k.fingerprint)).toEqual([fingerprint(first.publicKey)]);
});

test('openssl gives the same fingerprint', () => {
  const { publicKey } = signerIn(data);
  const der = execFileSync('openssl', ['pkey', '-in', keyFile(), '-pubout', '-outform', 'DER']);
  const sum = execFileSync('sha256sum', { input: der }).toString().slice(0, 64);
  expect(fingerprint(publicKey)).toBe(sum);
});

test('a replaced key is known still, and the new one is vouched for by it', () => {
  const old = signerIn(data);
  const fresh = replaceKey(data);
  expect(signerIn(data).publicKey).toEqual(fresh.publicKey);
  expect(fresh.publicKey).not.toEqual(old.publicKey);
  expect(statSync(keyFile()).mode & 0o777).toBe(0o600);
  expect(knownKeys(data).map((k) => k.fingerprint)).toEqual(
    [old, fresh].map((k) => fingerprint(k.publicKey)),
  );
});

test('a key that was written into the list without a signature is not known', () => {
  signerIn(data);
  const list = path.join(data, 'keys', 'known.jsonl');
  const stranger = {
    key: '11'.repeat(32),
    replaces: knownKeys(data)[0]!.fingerprint,
    schema: 'nightdraw.key/1',
  };
  appendFileSync(list, `${JSON.stringify(stranger)}\n`);
  expect(knownKeys(data)).toHaveLength(1);
  appendFileSync(list, `${JSON.stringify({ ...stranger, signature: 'AA==' })}\n`);
  expect(knownKeys(data)).toHaveLength(1);
});

test('a key file that is no key is one sentence', () => {
  signerIn(data);
  writeFileSync(keyFile(), 'nothing');
  expect(() => signerIn(data)).toThrow(/signing key .*signing\.pem cannot be used/);
  expect(readFileSync(keyFile(), 'utf8')).toBe('nothing');
});
