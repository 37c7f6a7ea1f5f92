import { generateKeyPairSync, sign } from 'node:crypto';
import { ed25519 } from '@noble/curves/ed25519.js';
import { sha256 as sha256OfLibrary } from '@noble/hashes/sha2.js';
import { zipSync } from 'fflate';
import { afterAll, beforeAll, describe, expect, it, test } from 'vitest';
import { factsOf, tagFiles, manifestOf } from '../../server/evidence/bag.ts';
import { packBag } from '../../server/evidence/bundle.ts';
import { canonicalJson } from '../../server/evidence/canonical.ts';
import { hex, textOfUtf8, utf8 } from '../../server/evidence/octets.ts';
import { fingerprintOf, pemOf, publicKeyOfPem, type Signer } from '../../server/evidence/signing.ts';
import { document, type Statement } from '../../server/evidence/statement.ts';
import { ANALYSIS_REVISION } from '../../server/battery/revision.ts';
import { verifyBundle, type Verification } from '../../server/evidence/verify.ts';
import { unzip, zip, ZipError } from '../../server/evidence/zip.ts';
import { nodeChecker } from '../../server/sealing/checker.ts';
import { seeded } from '../helpers/seeded.ts';
import { sealingBench, type SealingBench } from '../helpers/sealedNight.ts';

const { sha256 } = nodeChecker;
const verify = (file: Uint8Array, key?: string): Verification => verifyBundle(file, nodeChecker, { key });

let bench: SealingBench;
let bundle: Uint8Array;
let members: Map<string, Uint8Array>;
let statement: Statement;
beforeAll(() => {
  bench = sealingBench(600);
  bundle = bench.seal();
  members = new Map(unzip(bundle, sha256).members);
  statement = verify(bundle).statement!;
});
afterAll(() => bench.close());

const inBag = (name: string) => `${statement.bag}/${name}`;
const repacked = (change: (m: Map<string, Uint8Array>) => void) => {
  const m = new Map(members);
  change(m);
  return zip(m, sha256);
};

describe('an untouched bundle', () => {
  test('is intact, and gives its samples, events and findings', () => {
    const found = verify(bundle);
    expect(found).toMatchObject({ status: 'intact', differences: [], faults: [], container: 'as-written' });
    expect(found.sentence).toContain('2026-03-01 at 06:00:00 UTC');
    expect(found.findings?.same).toBe(true);
    const stored = bench.store.getRecording(bench.recordingId);
    expect(found.contents!.columns).toEqual(stored.channels.map((c) => bench.store.readSamples(c.id)));
    expect(found.contents!.events.events).toEqual(bench.store.listEvents(bench.recordingId));
    expect(statement.tree.leaves.map((l) => l.kind)).toEqual(['samples', 'samples', 'samples', 'events']);
  });

  test('is intact for the hash and the signatures that the browser uses', () => {
    const browser = {
      sha256: (octets: Uint8Array) => sha256OfLibrary(octets),
      verify: (key: Uint8Array, message: Uint8Array, signature: Uint8Array) =>
        ed25519.verify(signature, message, key),
    };
    expect(verifyBundle(bundle, browser)).toEqual(verify(bundle));
  });

  test('is the same to the last bit when sealed again', () => {
    expect(hex(sha256(bench.seal()))).toBe(hex(sha256(bundle)));
  });

  test('packed anew by another program is intact, and that is said', () => {
    const anew = zipSync(Object.fromEntries(members), { level: 1 });
    expect(verify(anew)).toMatchObject({ status: 'intact', container: 'anew' });
  });

  test('with the expected key is intact, with another is not', () => {
    const key = statement.key;
    expect(verify(bundle, key).status).toBe('intact');
    expect(verify(bundle, key.toUpperCase().replace(/(.{8})/g, '$1 ')).status).toBe('intact');
    expect(verify(bundle, 'ab'.repeat(32))).toMatchObject({ status: 'changed' });
  });
});

test('every flip of a single bit is noticed', { timeout: 120_000 }, () => {
  const tried = bundle.slice();
  const untouched = hex(bundle);
  for (let bit = 0; bit < tried.length * 8; bit++) {
    tried[bit >> 3]! ^= 1 << (bit & 7);
    const { status } = verify(tried);
    if (status === 'intact') expect.fail(`bit ${bit} of ${tried.length * 8} is not noticed`);
    tried[bit >> 3]! ^= 1 << (bit & 7);
  }
  expect(hex(tried)).toBe(untouched);
});

test('every flip of a bit in any file is noticed, however the zip file is made', { timeout: 120_000 }, () => {
  const random = seeded(11);
  for (const [name, octets] of members) {
    for (let n = 0; n < 60; n++) {
      const bit = Math.floor(random() * octets.length * 8);
      const changed = octets.slice();
      changed[bit >> 3]! ^= 1 << (bit & 7);
      const found = verify(repacked((m) => m.set(name, changed)));
      expect([name, bit, found.status]).toEqual([name, bit, 'changed']);
    }
  }
});

test('says which file, block and time range differ', () => {
  const name = 'data/samples/0002.csv';
  const csv = textOfUtf8(members.get(inBag(name))!).replace('0.025', '0.026');
  const found = verify(repacked((m) => m.set(inBag(name), utf8(csv))));
  expect(found.differences).toEqual([{ file: name, what: 'changed', block: 2, fromS: 3600, toS: 6600 }]);
  expect(found.signedBy).toBe(statement.key);
});

const mischief: readonly (readonly [string, (m: Map<string, Uint8Array>) => void])[] = [
  ['a member left out', (m) => m.delete(inBag('data/samples/0001.csv'))],
  ['a member put in', (m) => m.set(inBag('data/samples/0009.csv'), utf8('time_s\n'))],
  ['a tag file put in', (m) => m.set(inBag('hello.txt'), utf8('hello'))],
  [
    'a member renamed',
    (m) => {
      m.set(inBag('data/samples/0007.csv'), m.get(inBag('data/samples/0001.csv'))!);
      m.delete(inBag('data/samples/0001.csv'));
    },
  ],
  [
    'two members swapped',
    (m) => {
      const [a, b] = [inBag('data/samples/0001.csv'), inBag('data/samples/0002.csv')];
      const first = m.get(a)!;
      m.set(a, m.get(b)!);
      m.set(b, first);
    },
  ],
  ['no signature', (m) => m.delete(inBag('statement.sig'))],
  ['an empty signature', (m) => m.set(inBag('statement.sig'), new Uint8Array())],
  ['another BagIt version', (m) => m.set(inBag('bagit.txt'), utf8('BagIt-Version: 0.97\n'))],
];

describe('a bundle with', () => {
  it.each(mischief)('%s is not intact', (_what, change) => {
    expect(verify(repacked(change)).status).toBe('changed');
  });

  test('a second folder, or none, is no bundle', () => {
    expect(verify(repacked((m) => m.set('other/bagit.txt', utf8('')))).status).toBe('unreadable');
    expect(verify(zip(new Map([['a.txt', utf8('a')]]), sha256)).status).toBe('unreadable');
  });

  test('its bag under another name is not intact', () => {
    const renamed = new Map([...members].map(([n, o]) => [n.replace(statement.bag, 'nightdraw-other'), o]));
    expect(verify(zip(renamed, sha256)).status).toBe('changed');
  });
});

describe('a forger', () => {
  const forged = (): Signer => {
    const { privateKey, publicKey } = generateKeyPairSync('ed25519');
    const pem = publicKey.export({ type: 'spki', format: 'pem' }).toString();
    return { publicKey: publicKeyOfPem(utf8(pem)), sign: (m) => new Uint8Array(sign(null, m, privateKey)) };
  };
  const payload = () =>
    new Map(
      [...members]
        .map(([n, o]) => [n.slice(statement.bag.length + 1), o] as const)
        .filter(([n]) => n.startsWith('data/')),
    );

  /** All manifests and the statement made anew over changed files. */
  function resealed(
    change: (p: Map<string, Uint8Array>, s: Statement) => Statement,
    signer: Signer,
  ): Uint8Array {
    const files = payload();
    const stated = change(files, statement);
    const facts = factsOf(files, sha256);
    const manifest = manifestOf(facts);
    const body = {
      ...stated,
      manifest: hex(sha256(utf8(manifest))),
      key: fingerprintOf(signer.publicKey, sha256),
    };
    const octets = document(body);
    const tags = tagFiles(body, octets, signer.sign(octets), pemOf(signer.publicKey), facts, manifest);
    return packBag(body.bag, tags, files, sha256);
  }

  test('who puts another key in does not fit the signature', () => {
    const pem = utf8(pemOf(forged().publicKey));
    expect(verify(repacked((m) => m.set(inBag('signer.pem'), pem)))).toMatchObject({
      status: 'changed',
      signedBy: null,
    });
  });

  test('who signs everything anew is found by the fingerprint', () => {
    const file = resealed((_, s) => s, forged());
    expect(verify(file).status).toBe('intact');
    expect(verify(file).signedBy).not.toBe(statement.key);
    expect(verify(file, statement.key)).toMatchObject({ status: 'changed' });
  });

  test('who changes a block but not its leaf is found by the tree', () => {
    const file = resealed((p, s) => {
      const name = 'data/samples/0003.csv';
      p.set(name, utf8(textOfUtf8(p.get(name)!).replace('12.63', '12.03')));
      return s;
    }, forged());
    expect(verify(file).differences).toMatchObject([{ file: 'data/samples/0003.csv', block: 3 }]);
  });

  test('who changes the findings is found by analysing again', () => {
    const file = resealed((p, s) => {
      const text = textOfUtf8(p.get('data/findings.json')!);
      p.set('data/findings.json', utf8(text.replace('"reversed":false', '"reversed":true')));
      return s;
    }, forged());
    const found = verify(file);
    expect(found.status).toBe('changed');
    expect(found.findings).toMatchObject({ same: false });
    const later = verifyBundle(file, nodeChecker, { revision: ANALYSIS_REVISION + 1 });
    expect(later).toMatchObject({ status: 'intact', findings: { same: false } });
  });

  test('who replays an older statement is found', () => {
    const older = bench.seal({ sealedAt: '2026-02-28T23:00:00.000Z', without: ['identity'] });
    const old = unzip(older, sha256).members;
    const file = repacked((m) => {
      for (const name of ['statement.json', 'statement.sig']) m.set(inBag(name), old.get(inBag(name))!);
    });
    expect(verify(file).status).toBe('changed');
  });
});

describe('a zip file that may not be unpacked', () => {
  const raw = (files: Record<string, Uint8Array>) => zipSync(files, { level: 9 });

  it.each([
    '../evil',
    '/etc/evil',
    'bag/../../evil',
    'C:/evil',
    'bag\\evil',
    'bag/./evil',
    'bag//evil',
    '.hidden',
    'bag/\u0000x',
  ])('has the name %s', (name) => {
    const file = raw({ 'bag/bagit.txt': utf8('x'), [name]: utf8('evil') });
    expect(() => unzip(file, sha256)).toThrow(ZipError);
    expect(verify(file).status).toBe('unreadable');
  });

  test('has a name twice, but for its case', () => {
    expect(verify(raw({ 'bag/a': utf8('1'), 'bag/A': utf8('2') })).status).toBe('unreadable');
  });

  test('is a bomb', () => {
    const bomb = raw({ 'bag/bagit.txt': new Uint8Array(200_000_000) });
    expect(bomb.length).toBeLessThan(300_000);
    expect(verify(bomb).sentence).toMatch(/grow beyond all measure/);
  });

  test('is a bomb that lies about its size', () => {
    const bomb = raw({ 'bag/bagit.txt': new Uint8Array(200_000_000) });
    const view = new DataView(bomb.buffer, bomb.byteOffset);
    for (let at = 0; at + 4 <= bomb.length; at++)
      if (view.getUint32(at, true) === 200_000_000) view.setUint32(at, 1000, true);
    expect(verify(bomb).sentence).toMatch(/not as long as the table says/);
  });

  test('is cut short at any place', () => {
    for (let n = 0; n < bundle.length; n += 7)
      expect(verify(bundle.subarray(0, n)).status).toBe('unreadable');
  });
});

test('four thousand random edits are all noticed', { timeout: 120_000 }, () => {
  const random = seeded(5);
  const pick = <T>(list: readonly T[]): T => list[Math.floor(random() * list.length)]!;
  const names = [...members.keys()];
  const original = canonicalJson(names.map((n) => [n, hex(members.get(n)!)]));
  for (let n = 0; n < 4000; n++) {
    let file: Uint8Array;
    if (random() < 0.5) {
      file = bundle.slice();
      const at = Math.floor(random() * file.length);
      const length = 1 + Math.floor(random() * 40);
      const how = Math.floor(random() * 3);
      if (how === 0)
        for (let i = at; i < Math.min(file.length, at + length); i++) file[i] = Math.floor(random() * 256);
      else if (how === 1) file = new Uint8Array([...file.subarray(0, at), ...file.subarray(at + length)]);
      else file = new Uint8Array([...file.subarray(0, at + length), ...file.subarray(at)]);
      if (hex(file) === hex(bundle)) continue;
    } else {
      const edited = new Map(members);
      const [a, b] = [pick(names), pick(names)];
      const octets = edited.get(a)!;
      const how = Math.floor(random() * 5);
      if (how === 0) edited.set(a, edited.get(b)!).set(b, octets);
      else if (how === 1) edited.set(a, octets.subarray(0, Math.floor(random() * octets.length)));
      else if (how === 2) edited.set(`${a}${pick(['x', '.bak', '/y', '-2'])}`, octets);
      else if (how === 3) edited.delete(a);
      else edited.set(a, new Uint8Array([...octets, ...octets]));
      if (
        canonicalJson(
          [...edited].sort(([x], [y]) => names.indexOf(x) - names.indexOf(y)).map(([x, o]) => [x, hex(o)]),
        ) === original
      )
        continue;
      file = zip(edited, sha256);
    }
    const { status } = verify(file);
    if (status === 'intact') expect.fail(`edit ${n} is not noticed`);
  }
});
