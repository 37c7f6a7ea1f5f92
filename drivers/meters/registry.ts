import type { Driver, MeterProfile, MeterReader } from '../core/driver.ts';
import { sameRef } from '../core/driver.ts';
import { DriverError } from '../core/errors.ts';
import { bthome } from './bthome/driver.ts';
import { byteStream } from './byte-stream/driver.ts';
import { packedSamples } from './packed-samples/driver.ts';
import { selfDescribed } from './self-described/driver.ts';
import { sigElectrical } from './sig-electrical/driver.ts';

/** Every meter that Nightdraw reads. A characteristic goes to the first driver here that claims it. */
export const DRIVERS: readonly Driver[] = [sigElectrical, packedSamples, selfDescribed, bthome, byteStream];

export interface OpenedMeter {
  /** Ids of the drivers at work, joined by "+". */
  readonly driverId: string;
  readonly driverTitle: string;
  readonly reader: MeterReader;
}

/** Opens a meter with all drivers that know part of it; null when none does. */
export function openMeter(profile: MeterProfile, drivers: readonly Driver[] = DRIVERS): OpenedMeter | null {
  const opened: { driver: Driver; reader: MeterReader }[] = [];
  let rest = profile.characteristics;
  for (const driver of drivers) {
    if (driver.lastResort && opened.length > 0) continue;
    const reader = driver.open({ name: profile.name, characteristics: rest });
    if (!reader) continue;
    opened.push({ driver, reader });
    rest = rest.filter((c) => !reader.sources.some((s) => sameRef(s, c)));
  }
  const first = opened[0];
  if (!first) return null;
  return {
    driverId: opened.map((o) => o.driver.id).join('+'),
    driverTitle: opened.map((o) => o.driver.title).join(' and '),
    reader: opened.length === 1 ? first.reader : together(opened.map((o) => o.reader)),
  };
}

function together(readers: readonly MeterReader[]): MeterReader {
  const queryTo = readers.find((r) => r.queryTo)?.queryTo;
  return {
    ...(queryTo ? { queryTo } : {}),
    channels: readers.flatMap((r) => r.channels),
    sources: readers.flatMap((r) => r.sources),
    pollMs: Math.min(...readers.map((r) => r.pollMs)),
    read(source, bytes) {
      const reader = readers.find((r) => r.sources.some((s) => sameRef(s, source)));
      if (!reader) throw new DriverError('unknown-characteristic', 'No driver reads this characteristic.');
      return reader.read(source, bytes);
    },
  };
}
