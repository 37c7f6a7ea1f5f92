import { describe, expect, it } from 'vitest';
import type { AdvertisementReader, Driver } from '../../drivers/core/driver.ts';
import { DriverError } from '../../drivers/core/errors.ts';
import { FLAG, textOf } from '../../drivers/core/reading.ts';
import { uuid16 } from '../../drivers/core/uuid.ts';
import { advertisementOf, secretsOf, type BroadcastCase } from '../helpers/broadcastCase.ts';
import { FUZZ_FRAMES, FUZZ_FRESH_EVERY, FUZZ_MS, fuzzer, misbehaviour } from '../helpers/fuzz.ts';
import { fromHex } from '../helpers/hex.ts';
import { seeded } from '../helpers/seeded.ts';

/** What every driver of meters that only broadcast must do with every recorded packet. */
export function broadcastDriverContract(driver: Driver, cases: readonly BroadcastCase[]): void {
  describe(`driver ${driver.id}`, () => {
    const uuid = driver.services[0]!.uuid;

    it('has recorded packets', () => {
      expect(cases.flatMap((c) => c.packets).length).toBeGreaterThan(0);
    });

    it('says null to a connected meter and to another service', () => {
      expect(driver.open({ name: null, characteristics: [] })).toBeNull();
      const stranger = advertisementOf('c0:de:00:00:00:01', uuid16(0x180f), Uint8Array.of(0x40));
      expect(driver.openAdvertisement!(stranger, null)).toBeNull();
    });

    for (const recorded of cases) {
      const packetOf = (bytes: Uint8Array) => advertisementOf(recorded.address, uuid, bytes);
      const open = (withKey: boolean): AdvertisementReader => {
        const first = packetOf(Uint8Array.of());
        return driver.openAdvertisement!(first, withKey ? secretsOf(recorded) : null)!;
      };

      for (const packet of recorded.packets) {
        it(packet.what, () => {
          const reader = open(packet.withKey);
          const read = () => reader.read(packetOf(fromHex(packet.hex)));
          if ('error' in packet) {
            expect(read).toThrow(expect.objectContaining({ name: 'DriverError', code: packet.error }));
            return;
          }
          const shown = read().map(({ key, reading }) => ({
            key,
            text: textOf(reading.counts, reading.scale),
            flags: reading.flags,
          }));
          const wanted = packet.readings.map(({ key, text, flags }) => ({
            key,
            text,
            flags: flags.reduce((sum, name) => sum | FLAG[name], 0),
          }));
          expect(shown).toEqual(wanted);
          expect(reader.channels.map((c) => c.key)).toEqual(wanted.map((r) => r.key));
          expect(reader.details.cellPercent).toBe(packet.cellPercent);
          expect(reader.details.firmware).toBe(packet.firmware);
        });

        it(`${packet.what}, cut anywhere: never another figure`, () => {
          const bytes = fromHex(packet.hex);
          const whole = 'error' in packet ? [] : packet.readings.map((r) => r.text);
          for (let n = 0; n < bytes.length; n++) {
            try {
              const cut = open(packet.withKey).read(packetOf(bytes.subarray(0, n)));
              const texts = cut.map(({ reading }) => textOf(reading.counts, reading.scale));
              if (!('error' in packet)) expect(texts).toEqual(whole.slice(0, texts.length));
            } catch (error) {
              expect(error).toBeInstanceOf(DriverError);
            }
          }
        });
      }

      it.each([false, true])(
        'gives a sound reading or a DriverError for any bytes (with a key: %s)',
        (withKey) => {
          const next = fuzzer(
            seeded(21),
            recorded.packets.map((p) => fromHex(p.hex)),
          );
          let reader = open(withKey);
          for (let i = 0; i < FUZZ_FRAMES; i++) {
            if (i % FUZZ_FRESH_EVERY === 0) reader = open(withKey);
            const bytes = next();
            const wrong = misbehaviour(() => reader.read(packetOf(bytes)));
            if (wrong !== null) expect.unreachable(`${Buffer.from(bytes).toString('hex')}: ${wrong}`);
          }
        },
        FUZZ_MS,
      );
    }
  });
}
