import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { encodeInteger } from '../../drivers/core/integers.ts';
import { packedSamples } from '../../drivers/meters/packed-samples/driver.ts';
import { decodePacket, encodePacket } from '../../drivers/meters/packed-samples/frame.ts';
import { MeterTime } from '../../drivers/session/meterTime.ts';
import { meterCases, profileOf } from '../helpers/meterCase.ts';
import { seeded } from '../helpers/seeded.ts';

const profile = profileOf(meterCases().find((c) => c.driver === 'packed-samples')!);
const current = profile.characteristics[0]!;
const sample = (value: number): Uint8Array => encodeInteger(value, 3, true);
const packet = (number: number, firstTick: number, values: number[]): Uint8Array =>
  encodePacket({ number, firstTick, ticksApart: 100, samples: values.map(sample) });

describe('packed samples', () => {
  it('round-trips any packet', () => {
    fc.assert(
      fc.property(
        fc.nat(65535),
        fc.nat(2 ** 32 - 1),
        fc.integer({ min: 1, max: 65535 }),
        fc.array(fc.uint8Array({ minLength: 2, maxLength: 2 }), { minLength: 1, maxLength: 117 }),
        (number, firstTick, ticksApart, samples) => {
          const decoded = decodePacket(encodePacket({ number, firstTick, ticksApart, samples }), 2);
          expect({ ...decoded, samples: decoded.samples.map((s) => [...s]) }).toEqual({
            number,
            firstTick,
            ticksApart,
            samples: samples.map((s) => [...s]),
          });
        },
      ),
    );
  });

  it('gives each sample its own time, over the turn of the tick counter', () => {
    const reader = packedSamples.open(profile)!;
    const times = [
      ...reader.read(current, packet(1, 2 ** 32 - 150, [1, 2])),
      ...reader.read(current, packet(2, 50, [3, 4])),
    ].map((r) => r.meterMs!);
    expect(times.slice(1).map((t, i) => t - times[i]!)).toEqual([
      expect.closeTo(1, 6),
      expect.closeTo(1, 6),
      expect.closeTo(1, 6),
    ]);
  });

  it('drops a packet that comes twice or late, and goes on after a lost one', () => {
    const reader = packedSamples.open(profile)!;
    const values = (bytes: Uint8Array) => reader.read(current, bytes).map((r) => r.reading.counts);
    expect(values(packet(65534, 0, [1]))).toEqual([1]);
    expect(values(packet(65534, 0, [1]))).toEqual([]);
    expect(values(packet(0, 200, [3]))).toEqual([3]);
    expect(values(packet(65535, 100, [2]))).toEqual([]);
    expect(values(packet(1, 300, [4]))).toEqual([4]);
  });
});

describe('a meter clock placed on ours', () => {
  it.each([
    ['slow', -50e-6],
    ['fast', 50e-6],
  ])('follows a %s crystal through radio jitter of 30 ms within 8 ms', (_name, drift) => {
    const random = seeded(7);
    const time = new MeterTime();
    const reading = { quantity: 'current' as const, counts: 1, scale: 0, flags: 0 };
    let worst = 0;
    let last = -Infinity;
    for (let k = 0; k < 40_000; k++) {
      const trueMs = 1000 + k * 100;
      const stamp = 555_000 + (trueMs - 1000) * (1 + drift);
      // Bluetooth delivers at connection events, so that most packets are late and some are not.
      const arrival = trueMs + 30 * random();
      const [placed] = time.place([{ key: 'c', reading, meterMs: stamp }], arrival);
      expect(placed!.atMs).toBeGreaterThanOrEqual(last);
      last = placed!.atMs;
      if (k > 600) worst = Math.max(worst, Math.abs(placed!.atMs - trueMs));
    }
    expect(worst).toBeLessThan(8);
  });

  it('keeps the spacing inside the first packet, and starts again when the meter did', () => {
    const time = new MeterTime();
    const reading = { quantity: 'current' as const, counts: 1, scale: 0, flags: 0 };
    const at = (stamps: number[], arrival: number) =>
      time
        .place(
          stamps.map((meterMs) => ({ key: 'c', reading, meterMs })),
          arrival,
        )
        .map((r) => r.atMs);
    expect(at([10, 20, 30], 5000)).toEqual([4980, 4990, 5000]);
    expect(at([0, 10], 60_000)).toEqual([59_990, 60_000]);
  });

  it('keeps two channels of one meter apart', () => {
    const time = new MeterTime();
    const reading = { quantity: 'current' as const, counts: 1, scale: 0, flags: 0 };
    time.place([{ key: 'current', reading, meterMs: 100 }], 1100);
    expect(time.place([{ key: 'voltage', reading, meterMs: 50 }], 1110)[0]!.atMs).toBeCloseTo(1050, 2);
  });

  it('leaves readings without a stamp at their arrival', () => {
    const reading = { quantity: 'current' as const, counts: 1, scale: 0, flags: 0 };
    expect(new MeterTime().place([{ key: 'c', reading }], 42)[0]!.atMs).toBe(42);
  });
});
