import { createAbort } from '../../drivers/core/abort.ts';
import type { Driver } from '../../drivers/core/driver.ts';
import type { Link } from '../../drivers/core/link.ts';

/** The first driver of meters that only broadcast for which `fits` holds. */
export function broadcastDriver(
  drivers: readonly Driver[],
  fits: (driver: Driver) => boolean,
): Driver | undefined {
  return drivers.find((d) => d.openAdvertisement !== undefined && fits(d));
}

/** Calls `onFound` once with the driver that knows what this meter broadcasts, unless it is stopped before. */
export function hearBroadcast(
  link: Link,
  drivers: readonly Driver[],
  meterId: string,
  onFound: (driver: Driver) => void,
): { stop(): void } {
  const stopping = createAbort();
  const services = drivers
    .filter((d) => d.openAdvertisement !== undefined)
    .flatMap((d) => d.services.map((s) => s.uuid));
  link
    .listen?.({
      services,
      signal: stopping.signal,
      onAdvertisement(advertisement) {
        if (advertisement.id !== meterId || stopping.signal.aborted) return;
        const driver = broadcastDriver(drivers, (d) => d.openAdvertisement!(advertisement, null) !== null);
        if (driver === undefined) return;
        stopping.abort();
        // Not within the radio's own call, which may come before `hearBroadcast` has returned.
        void Promise.resolve().then(() => onFound(driver));
      },
    })
    .catch(() => undefined); // the session beside it tells what is wrong with the radio
  return { stop: stopping.abort };
}
