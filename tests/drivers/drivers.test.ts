import { describe, expect, it } from 'vitest';
import { uuid16 } from '../../drivers/core/uuid.ts';
import { DRIVERS, openMeter } from '../../drivers/meters/registry.ts';
import { broadcastDriverContract } from '../contract/broadcastDriver.ts';
import { driverContract } from '../contract/driver.ts';
import { broadcastCases } from '../helpers/broadcastCase.ts';
import { meterCases, profileOf } from '../helpers/meterCase.ts';

const cases = meterCases();
const broadcasts = broadcastCases();
for (const driver of DRIVERS) {
  const own = <T extends { driver: string }>(all: readonly T[]) => all.filter((c) => c.driver === driver.id);
  if (driver.openAdvertisement) broadcastDriverContract(driver, own(broadcasts));
  else driverContract(driver, own(cases));
}

describe('registry', () => {
  it('gives drivers ids of their own, and every recorded case belongs to one', () => {
    const ids = DRIVERS.map((d) => d.id);
    expect(new Set(ids).size).toBe(ids.length);
    for (const c of [...cases, ...broadcasts]) expect(ids).toContain(c.driver);
  });

  it('opens one meter with two drivers where it speaks both ways', () => {
    const characteristics = cases
      .filter((c) => ['sig-electrical', 'self-described'].includes(c.driver))
      .flatMap((c) => profileOf(c).characteristics);
    const meter = openMeter({ name: null, characteristics });
    expect(meter?.driverId).toBe('sig-electrical+self-described');
    expect(meter?.reader.channels).toHaveLength(characteristics.length);
    const voltage = characteristics.find((c) => c.characteristic.startsWith('00002b18'))!;
    const analog = characteristics.find((c) => c.characteristic.startsWith('00002a58'))!;
    expect(meter?.reader.read(voltage, Uint8Array.of(0x26, 0x03))[0]?.reading.counts).toBe(12593750);
    expect(meter?.reader.read(analog, Uint8Array.of(0x38, 0x31))[0]?.reading.counts).toBe(12600);
  });

  it('takes a stream for a meter only where nothing else is known of it', () => {
    const stream = profileOf(cases.find((c) => c.driver === 'byte-stream')!).characteristics;
    const electrical = profileOf(cases.find((c) => c.driver === 'sig-electrical')!).characteristics;
    expect(openMeter({ name: null, characteristics: stream })?.driverId).toBe('byte-stream');
    expect(openMeter({ name: null, characteristics: [...stream, ...electrical] })?.driverId).toBe(
      'sig-electrical',
    );
  });

  it('does not know a meter that says nothing about itself', () => {
    const [characteristic] = profileOf(cases.find((c) => c.driver === 'self-described')!).characteristics; // Analog
    expect(
      openMeter({ name: 'Mute', characteristics: [{ ...characteristic!, presentationFormat: null }] }),
    ).toBeNull();
  });

  it.each([0x2b19, 0x2aef, 0x2af0])(
    'takes what a device is made for (0x%s) for no reading',
    (specification) => {
      const [characteristic] = profileOf(cases.find((c) => c.driver === 'sig-electrical')!).characteristics;
      const alone = { ...characteristic!, characteristic: uuid16(specification) };
      expect(openMeter({ name: null, characteristics: [alone] })).toBeNull();
      const beside = openMeter({ name: null, characteristics: [alone, characteristic!] });
      expect(beside?.reader.channels.map((c) => c.key)).toEqual(['2b18.0']);
    },
  );

  it('refuses a characteristic of which it never heard', () => {
    const meter = openMeter(profileOf(cases[0]!))!;
    const stranger = { service: 'x', characteristic: 'y', index: 0 };
    expect(() => meter.reader.read(stranger, Uint8Array.of(1, 2))).toThrow(
      expect.objectContaining({ code: 'unknown-characteristic' }),
    );
  });
});
