import { canonicalUuid } from '../../drivers/core/uuid.ts';
import type { Driver } from '../../drivers/core/driver.ts';
import { withTaught } from '../../drivers/meters/taught/order.ts';
import type { TaughtMeter } from '../../server/messages/taughtMeters.ts';

/** What this page knows of meters that were taught, and of services that a person named. */
export class TaughtHere {
  drivers: readonly Driver[];
  services: readonly string[] = [];

  constructor(private readonly own: readonly Driver[]) {
    this.drivers = own;
  }

  set(taught: readonly TaughtMeter[], services: readonly string[]): void {
    this.drivers = withTaught(
      this.own,
      taught.map((t) => t.description),
    );
    this.services = services.map(canonicalUuid);
  }
}
