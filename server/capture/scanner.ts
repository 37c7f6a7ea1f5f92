import { createAbort } from '../../drivers/core/abort.ts';
import type { Clock } from '../../drivers/core/clock.ts';
import type { Driver } from '../../drivers/core/driver.ts';
import type { Link, SeenMeter } from '../../drivers/core/link.ts';
import { broadcastDriver } from './broadcasts.ts';
import { displayName } from './displayName.ts';
import type { MeterTable } from './meterTable.ts';

/** In a street full of beacons, no more than this are shown. */
const MOST_SHOWN = 200;
const BROADCASTS = 'Broadcasts readings that Nightdraw knows; it needs no connection.';
const FITS_A_KEY = /^[\w:.-]{1,113}$/;

export interface ScannerOptions {
  readonly clock: Clock;
  readonly drivers: () => readonly Driver[];
  readonly link: Link;
  readonly table: MeterTable;
  /** Meters in use stay in the list when a new scan begins. */
  readonly isInUse: (meterKey: string) => boolean;
}

/** Looks for meters with the server's own radio. */
export class Scanner {
  private running: { readonly done: Promise<void>; untilMs: number; stop(): void } | null = null;

  constructor(private readonly options: ScannerOptions) {}

  /** Resolves when the scan has ended; one that runs already is joined and lasts as long as the longer. @throws LinkError */
  async scan(seconds: number): Promise<void> {
    const { clock } = this.options;
    const scan = (this.running ??= this.start());
    const untilMs = clock.nowMs() + seconds * 1000;
    scan.untilMs = Math.max(scan.untilMs, untilMs);
    const cancel = clock.after(seconds * 1000, () => {
      if (scan.untilMs <= untilMs) scan.stop();
    });
    try {
      await scan.done;
    } finally {
      cancel();
      if (this.running === scan) this.running = null;
    }
  }

  stop(): void {
    this.running?.stop();
  }

  private start(): { done: Promise<void>; untilMs: number; stop(): void } {
    const { link, table, isInUse } = this.options;
    const abort = createAbort();
    for (const { key, source } of table.list()) if (source === 'server' && !isInUse(key)) table.remove(key);
    // Every device is looked at, because a meter that describes itself need not advertise a service we know.
    const done = link.find({ services: [], signal: abort.signal, onSeen: (meter) => this.seen(meter) });
    return { done, untilMs: 0, stop: () => abort.abort() };
  }

  private seen({ id, name, rssi, services }: SeenMeter): void {
    const { table } = this.options;
    const drivers = this.options.drivers();
    const key = `server:${id}`;
    const shown = displayName(name ?? '');
    const before = table.find(key);
    // What a meter broadcasts settles its driver before anything is connected.
    const speaks = broadcastDriver(drivers, (d) => d.services.some((s) => services.includes(s.uuid)));
    if (before !== undefined && before.driver === null && speaks && before.state === 'seen')
      table.change(key, { driver: speaks.title, sentence: BROADCASTS });
    if (before !== undefined) {
      if (before.rssi !== rssi || (shown !== '' && shown !== before.name))
        table.change(key, { rssi, name: shown || before.name });
      return;
    }
    const known = drivers.some((d) => d.services.some((s) => s.advertised && services.includes(s.uuid)));
    // Phones and tags without a name are not what a technician looks for.
    if ((shown === '' && !known) || !FITS_A_KEY.test(id) || table.list().length >= MOST_SHOWN) return;
    table.put({
      key,
      source: 'server',
      name: shown || id,
      driver: speaks?.title ?? null,
      state: 'seen',
      rssi,
      channels: [],
      sentence: speaks ? BROADCASTS : known ? 'Offers readings that Nightdraw knows.' : '',
    });
  }
}
