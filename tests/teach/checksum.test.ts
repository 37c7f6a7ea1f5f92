import { describe, expect, it } from 'vitest';
import { CRC_FORMS } from '../../drivers/teach/catalogue.ts';
import { checksumOf } from '../../drivers/teach/checksum.ts';
import type { Checksum } from '../../drivers/teach/description.ts';
import { findChecksums } from '../../drivers/teach/findChecksum.ts';
import { Random } from '../helpers/random.ts';

const TEXT = Uint8Array.from(Buffer.from('123456789', 'latin1'));
const form = (f: Partial<Checksum>): Checksum => ({
  kind: 'crc',
  at: 0,
  octets: 1,
  order: 'big',
  from: 0,
  to: 9,
  polynomial: 0,
  reflected: false,
  start: 0,
  final: 0,
  ...f,
});

describe('checksums', () => {
  // Check values of the catalogue of parametrised CRC algorithms, from memory.
  it.each(CRC_FORMS.map((f) => [f.octets, f.polynomial.toString(16), f.reflected, f.check, f] as const))(
    'CRC of %i octets, polynomial %s, reflected %s, has the check value %i',
    (octets, _polynomial, reflected, check, { polynomial, start, final }) => {
      expect(checksumOf(form({ octets, polynomial, reflected, start, final }), TEXT)).toBe(check);
    },
  );

  it('sum and exclusive or', () => {
    expect(checksumOf(form({ kind: 'sum' }), TEXT)).toBe(477 % 256);
    expect(checksumOf(form({ kind: 'sum', octets: 2 }), TEXT)).toBe(477);
    expect(checksumOf(form({ kind: 'sum', start: 0xff, final: 0xff }), TEXT)).toBe(256 - (477 % 256));
    expect(checksumOf(form({ kind: 'xor' }), TEXT)).toBe(0x31);
  });
});

describe('finding a checksum', () => {
  const random = new Random(5);
  const octet = () => Math.floor(random.next() * 256);
  /** Frames of a header, two still octets, four that change and a checksum after (or before) them. */
  const frames = (checksum: (body: Uint8Array) => number[], before = false) =>
    Array.from({ length: 6 }, () => {
      const body = Uint8Array.of(0x5a, 3, 7, octet(), octet(), octet(), octet());
      const sum = checksum(body);
      return Uint8Array.from(before ? [...sum, ...body] : [...body, ...sum]);
    });

  it.each(
    CRC_FORMS.map((f) => [f.octets, f.polynomial.toString(16), f.reflected, f.start, f.final, f] as const),
  )(
    'CRC of %i octets, polynomial %s, reflected %s, start %i, final %i',
    (octets, _text, reflected, start, final, { polynomial }) => {
      const whole = form({ octets, polynomial, reflected, start, final, to: 7 });
      const found = findChecksums(
        frames((body) => {
          const crc = checksumOf(whole, body);
          return octets === 1 ? [crc] : [crc & 255, crc >> 8];
        }),
      );
      expect(found[0]!.checksum).toMatchObject({ kind: 'crc', at: 7, octets, polynomial, reflected });
      expect([...found[0]!.octets]).toEqual(octets === 1 ? [7] : [7, 8]);
    },
  );

  it.each([
    ['sum', (b: Uint8Array) => [b.reduce((x, y) => (x + y) & 255, 0)]],
    ['sum', (b: Uint8Array) => [b.reduce((x, y) => (x - y) & 255, 0)]],
    ['xor', (b: Uint8Array) => [b.reduce((x, y) => x ^ y, 0)]],
  ] as const)('%s at the end and at the start', (kind, checksum) => {
    expect(findChecksums(frames(checksum))[0]!.checksum).toMatchObject({ kind, at: 7, from: 0, to: 7 });
    expect(findChecksums(frames(checksum, true)).map((f) => f.checksum)).toContainEqual(
      expect.objectContaining({ kind, at: 0, from: 1, to: 8 }),
    );
  });

  it('finds none in octets that are anything', () => {
    for (let i = 0; i < 100; i++) expect(findChecksums(frames(() => [octet()]))).toEqual([]);
  });
});
