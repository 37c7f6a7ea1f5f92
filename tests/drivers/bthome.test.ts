import { createCipheriv } from 'node:crypto';
import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import type { Secrets } from '../../drivers/core/driver.ts';
import { encodeInteger } from '../../drivers/core/integers.ts';
import { textOf } from '../../drivers/core/reading.ts';
import { decryptCcm } from '../../drivers/links/node/decrypt.ts';
import { bthome } from '../../drivers/meters/bthome/driver.ts';
import { BTHOME_SERVICE, OCTETS } from '../../drivers/meters/bthome/fields.ts';
import {
  decodeObjects,
  decodePacket,
  encodeObjects,
  encodePacket,
  nonceOf,
} from '../../drivers/meters/bthome/frame.ts';
import { advertisementOf } from '../helpers/broadcastCase.ts';
import { fromHex, toHex } from '../helpers/hex.ts';

const ADDRESS = '54:48:e6:8f:80:a5';
const KEY = fromHex('231d39c1d7cc1ab1aee224cd096db932');
const secrets: Secrets = { key: KEY, decrypt: decryptCcm };

function readerOf(given: Secrets | null, address: string | null = ADDRESS) {
  const packet = (bytes: Uint8Array, atMs = 0) => ({
    ...advertisementOf(ADDRESS, BTHOME_SERVICE, bytes, atMs),
    address,
  });
  const reader = bthome.openAdvertisement!(packet(Uint8Array.of()), given)!;
  return {
    reader,
    read: (hex: string | Uint8Array, atMs = 0) =>
      reader
        .read(packet(typeof hex === 'string' ? fromHex(hex) : hex, atMs))
        .map((r) => textOf(r.reading.counts, r.reading.scale)),
  };
}

/** A packet as a meter would encrypt it. */
function sealed(objects: string, counter: number, key = KEY): Uint8Array {
  const info = 0x41;
  const cipher = createCipheriv('aes-128-ccm', key, nonceOf(ADDRESS, info, counter), { authTagLength: 4 });
  const ciphertext = new Uint8Array(cipher.update(fromHex(objects)));
  cipher.final();
  return encodePacket({ encrypted: true, info, ciphertext, counter, mic: cipher.getAuthTag() });
}

describe('BTHome packets', () => {
  it('have the published nonce and encryption', () => {
    expect(toHex(nonceOf(ADDRESS, 0x41, 1122867))).toBe('5448e68f80a5d2fc4133221100');
    expect(toHex(sealed('02ca0903bf13', 1122867))).toBe('41e445f3c9962b332211006c7c4519');
  });

  it('round-trip, whatever objects they hold', () => {
    const object = fc
      .constantFrom(...OCTETS)
      .chain(([id, octets]) =>
        fc.record({ id: fc.constant(id), bytes: fc.uint8Array({ minLength: octets, maxLength: octets }) }),
      );
    const ofOwnLength = fc.record({
      id: fc.constantFrom(0x53, 0x54),
      bytes: fc.uint8Array({ maxLength: 20 }),
    });
    fc.assert(
      fc.property(fc.array(fc.oneof(object, ofOwnLength), { maxLength: 8 }), (objects) => {
        const encoded = encodeObjects(objects);
        const decoded = decodeObjects(encoded);
        expect(decoded.map((o) => o.id)).toEqual(objects.map((o) => o.id).sort((a, b) => a - b));
        expect(encodeObjects(decoded)).toEqual(encoded);
        const packet = decodePacket(encodePacket({ encrypted: false, info: 0x40, objects: encoded }));
        expect(packet).toMatchObject({ encrypted: false, info: 0x40 });
      }),
    );
  });
});

describe('repetitions of a packet', () => {
  const volts = (id: number, millivolts: number) =>
    Uint8Array.from([0x40, 0x00, id, 0x0c, ...encodeInteger(millivolts, 2, false)]);

  it('are told by the packet id, which wraps', () => {
    const { read } = readerOf(null);
    expect(read(volts(254, 12630))).toEqual(['12.630']);
    expect(read(volts(254, 12630))).toEqual([]);
    expect(read(volts(255, 12630))).toEqual(['12.630']);
    expect(read(volts(0, 12630))).toEqual(['12.630']);
    expect(read(volts(0, 12630), 600_000)).toEqual([]);
  });

  it('are told without a packet id by their octets, for one second', () => {
    const { read } = readerOf(null);
    const at = [0, 100, 900, 1000, 1900, 2000];
    expect(at.map((ms) => read('400c5631', ms).length)).toEqual([1, 0, 0, 1, 0, 1]);
    expect(read('400c5731', 2010)).toEqual(['12.631']);
  });

  it('are told by the counter where the packet is encrypted', () => {
    const { read } = readerOf(secrets);
    expect(read(sealed('0c5631', 7))).toEqual(['12.630']);
    expect(read(sealed('0c5631', 7))).toEqual([]);
    expect(read(sealed('0c5731', 8))).toEqual(['12.631']);
  });
});

describe('encrypted packets', () => {
  const refused = (code: string) => expect.objectContaining({ name: 'DriverError', code }) as Error;

  it('of an older counter are a replay, however good', () => {
    const { read } = readerOf(secrets);
    const old = sealed('0c5631', 99);
    expect(read(old)).toEqual(['12.630']);
    expect(read(sealed('0c5731', 100))).toEqual(['12.631']);
    expect(() => read(old)).toThrow(refused('not-authentic'));
    expect(() => read(sealed('0c5631', 5))).toThrow(refused('not-authentic'));
    expect(read(sealed('0c5831', 0xffffffff))).toEqual(['12.632']);
  });

  it('that are forged do not move the counter on', () => {
    const { read } = readerOf(secrets);
    expect(read(sealed('0c5631', 1))).toEqual(['12.630']);
    const forged = sealed('0c5631', 0xfffffff0, fromHex('00000000000000000000000000000000'));
    expect(() => read(forged)).toThrow(refused('not-authentic'));
    expect(read(sealed('0c5731', 2))).toEqual(['12.631']);
  });

  it('cannot be opened where the system hides the address, and it is said so', () => {
    const { read } = readerOf(secrets, null);
    expect(() => read(sealed('0c5631', 1))).toThrow(refused('key-needed'));
    expect(() => read(sealed('0c5631', 1))).toThrow(/address/);
  });

  it('keep a plain voice out in the middle of the night', () => {
    const { read } = readerOf(secrets);
    expect(read(sealed('0c5631', 1))).toEqual(['12.630']);
    expect(() => read('400c0000')).toThrow(refused('not-authentic'));
    expect(read(sealed('0c5731', 2))).toEqual(['12.631']);
  });
});

describe('channels', () => {
  it('grow when a packet brings a quantity not seen before, and keep their keys', () => {
    const { reader, read } = readerOf(null);
    read('4000010c5631');
    expect(reader.channels.map((c) => c.key)).toEqual(['0c.0']);
    read('4000025de7ff');
    read('4000030c57310c5831');
    expect(reader.channels.map((c) => [c.key, c.quantity, c.label])).toEqual([
      ['0c.0', 'voltage', 'Voltage'],
      ['5d.0', 'current', 'Current'],
      ['0c.1', 'voltage', 'Voltage 2'],
    ]);
    expect(reader.channels.map((c) => c.step)).toEqual([0.001, 0.001, 0.001]);
  });
});
