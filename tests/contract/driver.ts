import { describe, expect, it } from 'vitest';
import type { Driver } from '../../drivers/core/driver.ts';
import { DriverError } from '../../drivers/core/errors.ts';
import { FLAG, textOf } from '../../drivers/core/reading.ts';
import { FUZZ_FRAMES, FUZZ_FRESH_EVERY, FUZZ_MS, fuzzer, misbehaviour } from '../helpers/fuzz.ts';
import { fromHex } from '../helpers/hex.ts';
import { profileOf, type MeterCase } from '../helpers/meterCase.ts';
import { seeded } from '../helpers/seeded.ts';

/** What every driver must do with every recorded case of its own. */
export function driverContract(driver: Driver, cases: readonly MeterCase[]): void {
  describe(`driver ${driver.id}`, () => {
    it('has a recorded case', () => {
      expect(cases.length).toBeGreaterThan(0);
    });

    it('says null to a meter that is not its own', () => {
      expect(driver.open({ name: null, characteristics: [] })).toBeNull();
    });

    for (const recorded of cases) {
      const profile = profileOf(recorded);
      const open = () => {
        const reader = driver.open(profile);
        if (!reader) throw new Error('the driver does not know its own recorded case');
        return reader;
      };

      it('gives each channel a key of its own that survives a reconnect', () => {
        const keys = open().channels.map((c) => c.key);
        expect(new Set(keys).size).toBe(keys.length);
        expect(open().channels.map((c) => c.key)).toEqual(keys);
      });

      for (const frame of recorded.frames) {
        it(`${frame.hex} of characteristic ${frame.from}`, () => {
          const source = profile.characteristics[frame.from]!;
          const read = () => open().read(source, fromHex(frame.hex));
          if ('error' in frame) {
            expect(read).toThrow(expect.objectContaining({ name: 'DriverError', code: frame.error }));
            return;
          }
          if ('nothing' in frame) return expect(read()).toEqual([]);
          const [item, ...others] = read();
          expect(others).toEqual([]);
          expect(item?.key).toBe(frame.key);
          expect(textOf(item!.reading.counts, item!.reading.scale)).toBe(frame.text);
          expect(item!.reading.flags).toBe(frame.flags.reduce((sum, name) => sum | FLAG[name], 0));
          if (frame.apertureS === undefined) expect(item!.reading.apertureS).toBeUndefined();
          else expect(item!.reading.apertureS).toBeCloseTo(frame.apertureS, 3);
        });

        if ('error' in frame) continue;
        it(`${frame.hex} cut at every byte, or with one too many, is refused`, () => {
          const source = profile.characteristics[frame.from]!;
          const bytes = fromHex(frame.hex);
          for (let n = 0; n < bytes.length; n++) {
            expect(() => open().read(source, bytes.subarray(0, n))).toThrow(DriverError);
          }
          expect(() => open().read(source, Uint8Array.from([...bytes, 0]))).toThrow(DriverError);
        });
      }

      for (const stream of recorded.streams) {
        const readAll = (chunks: readonly Uint8Array[]) => {
          const reader = open();
          const source = profile.characteristics[stream.from]!;
          return chunks.flatMap((chunk) => {
            try {
              return reader.read(source, chunk).map(({ key, reading }) => ({
                key,
                text: textOf(reading.counts, reading.scale),
                flags: reading.flags,
              }));
            } catch (error) {
              if (!(error instanceof DriverError)) throw error;
              return [];
            }
          });
        };
        const bytes = fromHex(stream.hex);
        const expected = stream.readings.map((r) => ({
          ...r,
          flags: r.flags.reduce((sum, name) => sum | FLAG[name], 0),
        }));

        it(`stream: ${stream.what}, whole`, () => {
          expect(readAll([bytes])).toEqual(expected);
        });
        it(`stream: ${stream.what}, cut at every octet`, () => {
          for (let at = 0; at <= bytes.length; at++) {
            expect(readAll([bytes.subarray(0, at), bytes.subarray(at)])).toEqual(expected);
          }
        });
        it(`stream: ${stream.what}, octet by octet`, () => {
          expect(readAll(Array.from(bytes, (octet) => Uint8Array.of(octet)))).toEqual(expected);
        });
      }

      it(
        'gives a sound reading or a DriverError for any bytes',
        () => {
          const random = seeded(20);
          const real = [...recorded.frames, ...recorded.streams].map((f) => fromHex(f.hex));
          const next = fuzzer(random, real);
          let reader = open();
          for (let i = 0; i < FUZZ_FRAMES; i++) {
            // What a reader has settled on stays; a fresh one may settle otherwise.
            if (i % FUZZ_FRESH_EVERY === 0) reader = open();
            const source = profile.characteristics[Math.floor(random() * profile.characteristics.length)]!;
            const bytes = next();
            const wrong = misbehaviour(() => reader.read(source, bytes));
            if (wrong !== null) expect.unreachable(`${Buffer.from(bytes).toString('hex')}: ${wrong}`);
          }
        },
        FUZZ_MS,
      );
    }
  });
}
