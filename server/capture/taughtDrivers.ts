import type { Driver } from '../../drivers/core/driver.ts';
import { withTaught } from '../../drivers/meters/taught/order.ts';
import type { MeterDescription, TaughtMeter } from '../messages/taughtMeters.ts';
import type { Store } from '../store/store.ts';

/**
 * Every driver that is asked of a meter: those of the program and those of the descriptions that are kept. The
 * taught ones come before those of last resort, the newest first.
 */
export class TaughtDrivers {
  private drivers: readonly Driver[] | null = null;

  constructor(
    private readonly store: Store,
    private readonly own: readonly Driver[],
  ) {}

  all(): readonly Driver[] {
    return (this.drivers ??= withTaught(
      this.own,
      this.list().map((t) => t.description),
    ));
  }

  list(): TaughtMeter[] {
    return this.store.listTaughtMeters();
  }

  add(description: MeterDescription): TaughtMeter {
    const kept = this.store.addTaughtMeter(description);
    this.drivers = null;
    return kept;
  }

  /** @throws NightdrawError not-found */
  remove(id: string): void {
    this.store.deleteTaughtMeter(id);
    this.drivers = null;
  }
}
