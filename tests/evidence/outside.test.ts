import { execFileSync, spawnSync } from 'node:child_process';
import {
  appendFileSync,
  mkdtempSync,
  readdirSync,
  readFileSync,
  rmSync,
  writeFileSync,
  mkdirSync,
} from 'node:fs';
import { tmpdir } from 'node:os';
import path from 'node:path';
import { afterAll, beforeAll, expect, test } from 'vitest';
import { fingerprintOf } from '../../server/evidence/signing.ts';
import { unzip } from '../../server/evidence/zip.ts';
import { nodeChecker } from '../../server/sealing/checker.ts';
import { signerIn } from '../../server/sealing/keyFile.ts';
import { sealingBench, type SealingBench } from '../helpers/sealedNight.ts';

/** A stranger checks a bundle with what FORMAT.md says, and nothing of ours. */
const FORMAT = readFileSync(path.resolve(import.meta.dirname, '../../server/evidence/FORMAT.md'), 'utf8');
const script = (language: string) => new RegExp(`\`\`\`${language}\\n([^]*?)\`\`\``).exec(FORMAT)![1]!;

let bench: SealingBench;
let folder: string;
let bundle: Uint8Array;
beforeAll(() => {
  bench = sealingBench();
  bundle = bench.seal();
});
afterAll(() => bench.close());

function unpack(octets = bundle): string {
  folder = mkdtempSync(path.join(tmpdir(), 'nightdraw-bag-'));
  for (const [name, content] of unzip(octets, nodeChecker.sha256).members) {
    mkdirSync(path.dirname(path.join(folder, name)), { recursive: true });
    writeFileSync(path.join(folder, name), content);
  }
  return path.join(folder, readdirSync(folder)[0]!);
}

const byHand = (bag: string) => spawnSync('bash', ['-c', script('bash')], { cwd: bag, encoding: 'utf8' });
const byPython = (bag: string) => spawnSync('python3', ['-c', script('python'), bag], { encoding: 'utf8' });

test('sha256sum and openssl find the bundle right, and name its key', () => {
  const bag = unpack();
  const { status, stdout, stderr } = byHand(bag);
  expect([stderr, status]).toEqual(['', 0]);
  const key = fingerprintOf(signerIn(bench.data).publicKey, nodeChecker.sha256);
  expect(stdout).toContain(`signed by ${key}`);
  rmSync(folder, { recursive: true });
});

test("Python's standard library finds the bag and the root right", () => {
  const bag = unpack();
  const { status, stdout, stderr } = byPython(bag);
  expect([stderr, status]).toEqual(['', 0]);
  expect(stdout).toMatch(/^the bag is whole; [0-9a-f]{64}\n$/);
  rmSync(folder, { recursive: true });
});

test("Python's zipfile reads the file, and its comment is the digest of the rest", () => {
  const file = path.join(bench.data, 'bundle.zip');
  writeFileSync(file, bundle);
  const text = execFileSync('python3', [
    '-c',
    `import hashlib, sys, zipfile
z = zipfile.ZipFile(sys.argv[1])
assert z.testzip() is None
octets = open(sys.argv[1], 'rb').read()
assert z.comment == b'nightdraw sha256 ' + hashlib.sha256(octets[:-len(z.comment)]).hexdigest().encode()
print(len(z.namelist()))`,
    file,
  ]).toString();
  expect(Number(text)).toBe(unzip(bundle, nodeChecker.sha256).members.size);
});

test.each([
  'data/samples/0002.csv',
  'data/recording.json',
  'statement.json',
  'statement.sig',
  'manifest-sha256.txt',
])('both notice one more octet in %s', (name) => {
  const bag = unpack();
  appendFileSync(path.join(bag, name), ' ');
  expect(byHand(bag).status).not.toBe(0);
  expect(byPython(bag).status).not.toBe(0);
  rmSync(folder, { recursive: true });
});

test('both notice a file that was put in', () => {
  const bag = unpack();
  writeFileSync(path.join(bag, 'data/more.txt'), 'more');
  expect(byHand(bag).status).not.toBe(0);
  expect(byPython(bag).status).not.toBe(0);
  rmSync(folder, { recursive: true });
});
