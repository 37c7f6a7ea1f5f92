import type { Meter } from '../messages/meters.ts';
import { NightdrawError } from '../messages/errors.ts';

/** Every meter that can be seen now, wherever its radio is; pages own the meters that they announce. */
export class MeterTable {
  private readonly meters = new Map<string, Meter>();
  private readonly owners = new Map<string, string>();

  constructor(
    private readonly onChange: () => void,
    private readonly onRemoved: (key: string) => void,
  ) {}

  list(): Meter[] {
    return [...this.meters.values()].sort((a, b) => a.key.localeCompare(b.key));
  }

  find(key: string): Meter | undefined {
    return this.meters.get(key);
  }

  /** @throws NightdrawError not-found */
  get(key: string): Meter {
    const meter = this.meters.get(key);
    if (meter === undefined) throw new NightdrawError('not-found', 'No such meter is in range or announced.');
    return meter;
  }

  put(meter: Meter): Meter {
    this.meters.set(meter.key, meter);
    this.onChange();
    return meter;
  }

  change(key: string, part: Partial<Omit<Meter, 'key'>>): void {
    const before = this.meters.get(key);
    if (before !== undefined) this.put({ ...before, ...part });
  }

  remove(key: string): void {
    this.owners.delete(key);
    if (!this.meters.delete(key)) return;
    this.onRemoved(key);
    this.onChange();
  }

  owns(owner: string, key: string): boolean {
    return this.owners.get(key) === owner;
  }

  /** Replaces what this page announced before. Meters it no longer names leave, unless `keep` says otherwise. */
  announce(owner: string, meters: readonly Meter[], keep: (key: string) => boolean): void {
    for (const [key, by] of [...this.owners])
      if (by === owner && !meters.some((m) => m.key === key)) this.leave(key, keep);
    for (const meter of meters) {
      this.owners.set(meter.key, owner);
      this.put(meter);
    }
  }

  /** A meter that is being recorded stays in the list after its page has gone, so that its absence is seen. */
  private leave(key: string, keep: (key: string) => boolean): void {
    if (!keep(key)) return this.remove(key);
    this.owners.delete(key);
    this.change(key, { state: 'reconnecting', sentence: 'The page that holds this meter is away.' });
  }
}
