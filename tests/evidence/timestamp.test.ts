import { execFileSync, spawnSync } from 'node:child_process';
import { readFileSync, writeFileSync } from 'node:fs';
import path from 'node:path';
import { afterAll, beforeAll, expect, test } from 'vitest';
import { readTimestamp } from '../../server/evidence/timestamp.ts';
import { verifyBundle } from '../../server/evidence/verify.ts';
import { unzip } from '../../server/evidence/zip.ts';
import { nodeChecker } from '../../server/sealing/checker.ts';
import { checkSigner, queryFor, withTimestamp } from '../../server/sealing/timestamp.ts';
import { sealingBench, type SealingBench } from '../helpers/sealedNight.ts';

/** A time-stamping authority of our own, run by openssl. */
let bench: SealingBench;
let bundle: Uint8Array;
let reply: Uint8Array;
const at = (name: string) => path.join(bench.data, name);
const openssl = (...args: string[]) => execFileSync('openssl', args, { cwd: bench.data, stdio: 'pipe' });
const octetsOf = (name: string) => new Uint8Array(readFileSync(at(name)));
const signature = () =>
  [...unzip(bundle, nodeChecker.sha256).members].find(([n]) => n.endsWith('/statement.sig'))![1];

const CONFIG = `
[req]
distinguished_name = dn
prompt = no
[dn]
CN = Test authority
[ext]
extendedKeyUsage = critical,timeStamping
basicConstraints = critical,CA:true
[tsa]
default_tsa = one
[one]
serial = serial
signer_cert = tsa.pem
signer_key = tsa.key
signer_digest = sha256
default_policy = 1.2.3.4.1
digests = sha256
accuracy = secs:1
ess_cert_id_alg = sha256
`;

function ask(bundleOctets: Uint8Array): Uint8Array {
  writeFileSync(at('q.tsq'), queryFor(bundleOctets));
  openssl('ts', '-reply', '-config', 'tsa.cnf', '-queryfile', 'q.tsq', '-out', 'r.tsr');
  return octetsOf('r.tsr');
}

beforeAll(() => {
  bench = sealingBench();
  bundle = bench.seal();
  writeFileSync(at('tsa.cnf'), CONFIG);
  writeFileSync(at('serial'), '01\n');
  openssl(
    'req',
    '-x509',
    '-newkey',
    'rsa:2048',
    '-nodes',
    '-keyout',
    'tsa.key',
    '-out',
    'tsa.pem',
    '-days',
    '2',
    '-config',
    'tsa.cnf',
    '-extensions',
    'ext',
  );
  reply = ask(bundle);
});
afterAll(() => bench.close());

test('openssl reads the query: SHA-256 of the signature, with a nonce, asking for the certificate', () => {
  const text = openssl('ts', '-query', '-in', 'q.tsq', '-text').toString();
  expect(text).toContain('Version: 1');
  expect(text).toContain('Hash Algorithm: sha256');
  expect(text).toMatch(/Nonce: 0x5A[0-9A-F]{14}/);
  expect(text).toContain('Certificate required: yes');
  writeFileSync(at('statement.sig'), signature());
  const own = openssl('ts', '-query', '-data', 'statement.sig', '-sha256', '-no_nonce', '-text').toString();
  const dump = (t: string) => t.split('\n').filter((line) => /^ {4}0\d{3} - /.test(line));
  expect(dump(text)).toEqual(dump(own));
});

test('a reply is put in, the bundle stays intact, and openssl verifies it', () => {
  const { bundle: stamped, timestamp } = withTimestamp(bundle, reply);
  const found = verifyBundle(stamped, nodeChecker);
  expect(found).toMatchObject({ status: 'intact', stampedAt: timestamp.at });
  expect(Math.abs(Date.parse(timestamp.at) - Date.now())).toBeLessThan(600_000);
  const members = unzip(stamped, nodeChecker.sha256).members;
  for (const [name, octets] of members) writeFileSync(at(path.basename(name)), octets);
  const checked = openssl(
    'ts',
    '-verify',
    '-data',
    'statement.sig',
    '-in',
    'timestamp.tsr',
    '-CAfile',
    'tsa.pem',
  );
  expect(checked.toString()).toContain('Verification: OK');
  expect(withTimestamp(stamped, reply).bundle).toEqual(stamped);
});

test('a reply to something else is refused, and shows when it is put in all the same', () => {
  const other = bench.seal({ sealedAt: '2026-03-02T06:00:00.000Z' });
  const wrong = ask(other);
  expect(() => withTimestamp(bundle, wrong)).toThrow(
    /no time stamp of this bundle: the time stamp is of something else/,
  );
  writeFileSync(at('q.tsq'), 'nonsense');
  const refused = spawnSync(
    'openssl',
    ['ts', '-reply', '-config', 'tsa.cnf', '-queryfile', 'q.tsq', '-out', 'bad.tsr'],
    { cwd: bench.data },
  );
  if (refused.status === 0) expect(() => withTimestamp(bundle, octetsOf('bad.tsr'))).toThrow(/did not grant/);
  expect(() => withTimestamp(bundle, new Uint8Array([1, 2, 3]))).toThrow(/no time stamp of this bundle/);
});

test('every changed octet of what the authority signed is noticed', () => {
  const { signed } = readTimestamp(reply, signature(), nodeChecker.sha256);
  const start = Buffer.from(reply).indexOf(signed.info);
  expect(start).toBeGreaterThan(0);
  const places = [
    ...Array.from({ length: signed.info.length }, (_, i) => start + i),
    ...Array.from(
      { length: signed.signature.length },
      (_, i) => Buffer.from(reply).indexOf(signed.signature) + i,
    ),
  ];
  for (const place of places) {
    const changed = reply.slice();
    changed[place]! ^= 1;
    expect(() => {
      checkSigner(readTimestamp(changed, signature(), nodeChecker.sha256));
    }, String(place)).toThrow(RangeError);
  }
});
