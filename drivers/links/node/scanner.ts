import type { Noble, Peripheral } from '@abandonware/noble';
import type { Abort, Clock } from '../../core/clock.ts';
import { LinkError } from '../../core/errors.ts';
import type { Advertisement, SeenMeter, ServiceData } from '../../core/link.ts';
import { withTimeLimit } from '../../core/timeLimit.ts';
import { canonicalUuid, type Uuid } from '../../core/uuid.ts';

/** A meter is told again so soon at the earliest, unless its name or services have changed. */
const TELL_EVERY_MS = 500;
/** A meter that was heard so recently is there: connecting to it will not hang on an empty air. */
const FRESH_MS = 3000;
/** Scanning, and not one packet for so long: something stopped the scan without a word. */
const QUIET_MS = 4000;
const COMMAND_LIMIT_MS = 3000;
const RESTART_AFTER_MS = 250;
const TRIES = 3;

export interface Scanner {
  /** Whether somebody wants to see what is in range. */
  show(on: boolean): void;
  /** Whose service data somebody wants to hear, packet by packet. */
  listenTo(services: readonly Uuid[]): void;
  /** The meter, as soon as it is or was just now heard. @throws LinkError aborted */
  hear(id: string, signal: Abort): Promise<Peripheral>;
  isFresh(id: string): boolean;
  /** Runs `work` with the scan stopped, since a controller cannot scan and connect at once. */
  quietly<T>(work: () => Promise<T>): Promise<T>;
  meter(peripheral: Peripheral): SeenMeter;
}

export interface ScannerOptions {
  readonly noble: Noble;
  readonly clock: Clock;
  readonly onSeen: (meter: SeenMeter) => void;
  readonly onHeard: (advertisement: Advertisement) => void;
  /** The adapter no longer obeys. */
  readonly onStuck: () => void;
}

/** One scan for all who look: it never filters, reports duplicates, and goes on when something else stops it. */
export function createScanner({ noble, clock, onSeen, onHeard, onStuck }: ScannerOptions): Scanner {
  const heard = new Map<string, { readonly peripheral: Peripheral; atMs: number }>();
  const told = new Map<string, { readonly facts: string; readonly atMs: number }>();
  const waiting = new Map<string, Set<(peripheral: Peripheral) => void>>();
  let showing = false;
  let listening: ReadonlySet<Uuid> = new Set();
  let quiet = 0;
  let scanning = false;
  let lastPacketMs = clock.nowMs();
  let settling: Promise<void> | null = null;

  const wanted = (): boolean => (showing || listening.size > 0 || waiting.size > 0) && quiet === 0;

  noble.on('discover', (peripheral: Peripheral) => {
    const atMs = clock.nowMs();
    const meter = describe(peripheral);
    lastPacketMs = atMs;
    heard.set(meter.id, { peripheral, atMs });
    for (const found of waiting.get(meter.id) ?? []) found(peripheral);
    if (showing) tell(meter, atMs);
    if (listening.size === 0) return;
    const serviceData = serviceDataOf(peripheral);
    if (!serviceData.some((d) => listening.has(d.uuid))) return;
    const { id, name, rssi } = meter;
    onHeard({ id, address: addressOf(peripheral), name, rssi, serviceData, atMs });
  });

  noble.on('scanStop', () => {
    if (settling !== null) return; // our own doing
    scanning = false;
    clock.after(RESTART_AFTER_MS, () => void settle());
  });

  setInterval(() => {
    if (!scanning || settling !== null || clock.nowMs() - lastPacketMs < QUIET_MS) return;
    scanning = false;
    void settle();
  }, 1000).unref();

  function tell(meter: SeenMeter, atMs: number): void {
    const facts = JSON.stringify([meter.name, meter.services]);
    const last = told.get(meter.id);
    if (last && last.facts === facts && atMs - last.atMs < TELL_EVERY_MS) return;
    told.set(meter.id, { facts, atMs });
    onSeen(meter);
  }

  /** Brings the adapter to what is wanted now; callers share one pass. */
  function settle(): Promise<void> {
    settling ??= pass().finally(async () => {
      settling = null;
      // Asked for after the pass had looked for the last time.
      if (scanning !== wanted()) await settle();
    });
    return settling;
  }

  async function pass(): Promise<void> {
    let failures = 0;
    while (scanning !== wanted()) {
      const on = !scanning;
      const command = on ? noble.startScanningAsync([], true) : noble.stopScanningAsync();
      try {
        await withTimeLimit(command, { clock, ms: COMMAND_LIMIT_MS, what: 'Scanning' });
        scanning = on;
        lastPacketMs = clock.nowMs();
      } catch {
        if (++failures === TRIES) return onStuck();
        await new Promise<void>((resolve) => clock.after(RESTART_AFTER_MS, resolve));
      }
    }
  }

  function isFresh(id: string): boolean {
    const last = heard.get(id);
    return last !== undefined && clock.nowMs() - last.atMs < FRESH_MS;
  }

  return {
    show(on) {
      showing = on;
      if (on) told.clear();
      void settle();
    },
    listenTo(services) {
      listening = new Set(services);
      void settle();
    },
    isFresh,
    hear(id, signal) {
      if (isFresh(id)) return Promise.resolve(heard.get(id)!.peripheral);
      return new Promise((resolve, reject) => {
        const found = (peripheral: Peripheral): void => leave(() => resolve(peripheral));
        const onAbort = (): void => leave(() => reject(new LinkError('aborted', 'Looking was called off.')));
        const waiters = waiting.get(id) ?? new Set();
        function leave(then: () => void): void {
          waiters.delete(found);
          if (waiters.size === 0) waiting.delete(id);
          signal.removeEventListener('abort', onAbort);
          then();
          void settle();
        }
        if (signal.aborted) return onAbort();
        waiting.set(id, waiters.add(found));
        signal.addEventListener('abort', onAbort);
        void settle();
      });
    },
    async quietly(work) {
      quiet++;
      try {
        await settle();
        return await work();
      } finally {
        quiet--;
        void settle();
      }
    },
    meter: describe,
  };
}

/** A copy: the library changes an advertisement in place. */
function describe(peripheral: Peripheral): SeenMeter {
  const { advertisement, id, rssi } = peripheral;
  const services = (advertisement.serviceUuids ?? []).map(canonicalUuid);
  const broadcast = serviceDataOf(peripheral).map((d) => d.uuid);
  return {
    id: addressOf(peripheral) ?? id,
    name: advertisement.localName || null,
    // Core Specification, Vol 4, Part E, 7.7.65.2: 127 means that the strength is not known.
    rssi: Number.isFinite(rssi) && rssi !== 127 ? rssi : null,
    services: [...new Set([...services, ...broadcast])],
  };
}

function addressOf({ address }: Peripheral): string | null {
  return /^([0-9a-f]{2}:){5}[0-9a-f]{2}$/i.test(address) ? address.toLowerCase() : null;
}

function serviceDataOf({ advertisement }: Peripheral): ServiceData[] {
  return (advertisement.serviceData ?? []).map(({ uuid, data }) => ({
    uuid: canonicalUuid(uuid),
    bytes: Uint8Array.from(data),
  }));
}
