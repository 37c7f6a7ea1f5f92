import { createPrivateKey, createPublicKey, sign } from 'node:crypto';
import { ed25519 } from '@noble/curves/ed25519.js';
import { sha256 as sha256OfLibrary } from '@noble/hashes/sha2.js';
import fc from 'fast-check';
import { describe, expect, it, test } from 'vitest';
import { canonicalJson, parseCanonical } from '../../server/evidence/canonical.ts';
import {
  consistencyPath,
  inclusionPath,
  isConsistent,
  isIncluded,
  leafHash,
  rootOf,
} from '../../server/evidence/merkle.ts';
import { hex, unhex, utf8 } from '../../server/evidence/octets.ts';
import { base64, pemOf, publicKeyOfPem, unbase64 } from '../../server/evidence/signing.ts';
import { nodeChecker } from '../../server/sealing/checker.ts';

const { sha256 } = nodeChecker;

describe('SHA-256 (FIPS 180-4, examples)', () => {
  it.each([
    ['', 'e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855'],
    ['abc', 'ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad'],
    [
      'abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq',
      '248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1',
    ],
    ['a'.repeat(1_000_000), 'cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0'],
  ])('%#', (text, digest) => {
    expect(hex(sha256(utf8(text)))).toBe(digest);
    expect(hex(sha256OfLibrary(utf8(text)))).toBe(digest);
  });
});

describe('Merkle tree (RFC 6962, section 2.1)', () => {
  const leaves = [
    '',
    '00',
    '10',
    '2021',
    '3031',
    '40414243',
    '5051525354555657',
    '606162636465666768696a6b6c6d6e6f',
  ].map((l) => leafHash(unhex(l), sha256));
  const roots = [
    '6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d',
    'fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125',
    'aeb6bcfe274b70a14fb067a5e5578264db0fa9b51af5e0ba159158f329e06e77',
    'd37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7',
    '4e3bbb1f7b478dcfe71fb631631519a3bca12c9aefca1612bfce4c13a86264d4',
    '76e67dadbcdf1e10e1b74ddc608abd2f98dfb16fbce75277b5232a127f2087ef',
    'ddb89be403809e325750d3d263cd78929c2942b7942a34b77e122c9594a74c8c',
    '5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328',
  ];
  const hexes = (path: readonly Uint8Array[]) => path.map(hex);

  it.each(roots.map((root, i) => [i + 1, root] as const))('root of %d leaves', (n, root) => {
    expect(hex(rootOf(leaves.slice(0, n), sha256))).toBe(root);
  });

  it('root of none', () => expect(hex(rootOf([], sha256))).toBe(hex(sha256(utf8('')))));

  it('inclusion paths', () => {
    expect(hexes(inclusionPath(0, leaves, sha256))).toEqual([
      '96a296d224f285c67bee93c30f8a309157f0daa35dc5b87e410b78630a09cfc7',
      '5f083f0a1a33ca076a95279832580db3e0ef4584bdff1f54c8a360f50de3031e',
      '6b47aaf29ee3c2af9af889bc1fb9254dabd31177f16232dd6aab035ca39bf6e4',
    ]);
    expect(hexes(inclusionPath(5, leaves, sha256))).toEqual([
      'bc1a0643b12e4d2d7c77918f44e0f4f79a838b6cf9ec5b5c283e1f4d88599e6b',
      'ca854ea128ed050b41b35ffc1b87b8eb2bde461e9e3b5596ece6b9d5975a0ae0',
      roots[3],
    ]);
  });

  it('consistency proofs', () => {
    const proof = hexes(consistencyPath(6, leaves, sha256));
    expect(proof[0]).toBe('0ebc5d3437fbe2db158b9f126a1d118e308181031d0a949f8dededebc558ef6a');
    expect(proof[1]).toMatch(/^ca854ea1/);
    expect(proof[2]).toBe(roots[3]);
    const small = hexes(consistencyPath(2, leaves.slice(0, 5), sha256));
    expect(small[0]).toMatch(/^5f083f0a/);
    expect(small[1]).toMatch(/^bc1a0643/);
    expect(small).toHaveLength(2);
  });

  it('every proof of trees up to 40 leaves verifies, and none for another leaf, size or root', () => {
    const many = Array.from({ length: 40 }, (_, i) => leafHash(Uint8Array.of(i), sha256));
    for (let n = 1; n <= many.length; n++) {
      const tree = many.slice(0, n);
      const root = rootOf(tree, sha256);
      for (let i = 0; i < n; i++) {
        const path = inclusionPath(i, tree, sha256);
        expect(isIncluded(tree[i]!, i, n, path, root, sha256)).toBe(true);
        if (n === 1) continue;
        expect(isIncluded(tree[(i + 1) % n]!, i, n, path, root, sha256)).toBe(false);
        expect(isIncluded(tree[i]!, i === 0 ? n - 1 : i - 1, n, path, root, sha256)).toBe(false);
        expect(isIncluded(tree[i]!, i, n, path.slice(1), root, sha256)).toBe(false);
      }
      for (let m = 1; m <= n; m++) {
        const early = { size: m, root: rootOf(many.slice(0, m), sha256) };
        const path = consistencyPath(m, tree, sha256);
        expect(isConsistent(early, { size: n, root }, path, sha256)).toBe(true);
        const forged = rootOf([...many.slice(0, m - 1), leafHash(utf8('else'), sha256)], sha256);
        expect(isConsistent({ ...early, root: forged }, { size: n, root }, path, sha256)).toBe(false);
        if (m < n) expect(isConsistent(early, { size: n, root }, [...path, root], sha256)).toBe(false);
      }
    }
  });
});

describe('Ed25519 (RFC 8032, section 7.1)', () => {
  it.each([
    [
      '9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60',
      'd75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a',
      '',
      'e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8821590a33bacc61e39701cf9b46bd25bf5f0595bbe24655141438e7a100b',
    ],
    [
      '4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb',
      '3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c',
      '72',
      '92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da085ac1e43e15996e458f3613d0f11d8c387b2eaeb4302aeeb00d291612bb0c00',
    ],
    [
      'c5aa8df43f9f837bedb7442f31dcb7b166d38535076f094b85ce3a2e0b4458f7',
      'fc51cd8e6218a1a38da47ed00230f0580816ed13ba3303ac5deb911548908025',
      'af82',
      '6291d657deec24024827e69c3abe01a30ce548a284743a445e3680d7db5ac3ac18ff9b538d16f290ae67f760984dc6594a7c15e9716ed28dc027beceea1ec40a',
    ],
  ])('test %#', (secret, publicHex, message, signature) => {
    const head = unhex('302e020100300506032b657004220420'); // PKCS #8, RFC 8410 section 7
    const key = createPrivateKey({
      key: Buffer.concat([head, unhex(secret)]),
      format: 'der',
      type: 'pkcs8',
    });
    expect(hex(sign(null, unhex(message), key))).toBe(signature);
    const [raw, text, sig] = [publicHex, message, signature].map(unhex) as [
      Uint8Array,
      Uint8Array,
      Uint8Array,
    ];
    expect(nodeChecker.verify(raw, text, sig)).toBe(true);
    expect(ed25519.verify(sig, text, raw)).toBe(true);
    const pem = createPublicKey(key).export({ type: 'spki', format: 'pem' }).toString();
    expect(pemOf(raw)).toBe(pem);
    expect(hex(publicKeyOfPem(utf8(pem)))).toBe(publicHex);
    for (let bit = 0; bit < 512; bit += 7) {
      const wrong = sig.slice();
      wrong[bit >> 3]! ^= 1 << (bit & 7);
      expect(nodeChecker.verify(raw, text, wrong)).toBe(false);
    }
    expect(nodeChecker.verify(raw, utf8('other'), sig)).toBe(false);
  });
});

describe('canonical JSON (RFC 8785)', () => {
  const INPUT = String.raw`{"numbers":[333333333.33333329,1E30,4.50,2e-3,0.000000000000000000000000001],"string":"\u20ac$\u000F\u000aA'\u0042\u0022\u005c\\\"\/","literals":[null,true,false]}`;

  test('the example of section 3.2', () => {
    const text = canonicalJson(JSON.parse(INPUT));
    expect(text).toBe(
      String.raw`{"literals":[null,true,false],"numbers":[333333333.3333333,1e+30,4.5,0.002,1e-27],"string":"€$\u000f\nA'B\"\\\\\"/"}`,
    );
    expect(utf8(text)).toHaveLength(118);
    expect(hex(sha256(utf8(text)))).toBe('2d5e01a318d0f0879ab568c4be289c8b1f64ef8921a53c6277d5e069978baacb');
  });

  test('keys in the order of UTF-16 code units (section 3.2.3)', () => {
    const keys = ['\u20ac', '\r', '\ufb33', '1', '\u{1f600}', '\u0080', '\u00f6'];
    const text = canonicalJson(Object.fromEntries(keys.map((k) => [k, 0])));
    expect(Object.keys(JSON.parse(text) as object).filter((k) => k !== '1')).toEqual([
      '\r',
      '\u0080',
      '\u00f6',
      '\u20ac',
      '\u{1f600}',
      '\ufb33',
    ]);
    expect(text.startsWith(String.raw`{"\r":0,"1":0,`)).toBe(true);
  });

  it.each([
    ['8000000000000000', '0'],
    ['0000000000000001', '5e-324'],
    ['4340000000000000', '9007199254740992'],
    ['4430000000000000', '295147905179352830000'],
    ['44b52d02c7e14af6', '1e+23'],
    ['444b1ae4d6e2ef50', '1e+21'],
    ['3eb0c6f7a0b5ed8c', '9.999999999999997e-7'],
    ['3eb0c6f7a0b5ed8d', '0.000001'],
    ['becbf647612f3696', '-0.0000033333333333333333'],
  ])('the double %s is %s (appendix B, from memory)', (bits, text) => {
    expect(canonicalJson(new DataView(unhex(bits).buffer).getFloat64(0))).toBe(text);
  });

  it.each([NaN, Infinity, -Infinity, '\ud83d', { '\udead': 1 }, [undefined], 1n, () => 0])(
    'refuses %o',
    (value) => expect(() => canonicalJson(value)).toThrow(RangeError),
  );

  it.each(['{"a":1,"a":1}', '{"b":1,"a":2}', '[1.0]', '[1e2]', '{ }', '"\\u0041"', '[-0]', '', '{'])(
    'reads no other spelling: %s',
    (text) => expect(() => parseCanonical(text)).toThrow(RangeError),
  );

  test('any JSON value comes back', () => {
    fc.assert(
      fc.property(fc.jsonValue({ noUnicodeString: false }), (value) => {
        const text = canonicalJson(value);
        expect(canonicalJson(parseCanonical(text))).toBe(text);
        expect(JSON.parse(text)).toEqual(JSON.parse(JSON.stringify(value)));
      }),
      { numRuns: 300, seed: 7 },
    );
  });
});

test('base64 (RFC 4648, section 10) and back', () => {
  for (const [text, coded] of [
    ['', ''],
    ['f', 'Zg=='],
    ['fo', 'Zm8='],
    ['foo', 'Zm9v'],
    ['foobar', 'Zm9vYmFy'],
  ] as const) {
    expect(base64(utf8(text))).toBe(coded);
    expect(unbase64(coded)).toEqual(utf8(text));
  }
  for (const wrong of ['Zh==', 'Zg=', 'Zg', 'Z===', '!!!!'])
    expect(() => unbase64(wrong)).toThrow(RangeError);
});
