import { createAbort } from '../../core/abort.ts';
import type { Abort, Cancel, Clock } from '../../core/clock.ts';
import { sameRef } from '../../core/driver.ts';
import { LinkError } from '../../core/errors.ts';
import type {
  CharacteristicRef,
  Connection,
  EndedBy,
  Link,
  OnBytes,
  SeenMeter,
  ServiceData,
} from '../../core/link.ts';
import { withTimeLimit } from '../../core/timeLimit.ts';
import type { ReplayPeer } from './peer.ts';

/** So often a peripheral advertises. */
const SCAN_EVERY_MS = 100;
const CONNECT_TRY_MS = 20;

/** A Link over peripherals that are made of data. All time comes from `clock`. */
export function createReplayLink(peers: readonly ReplayPeer[], clock: Clock): Link {
  const seen = (peer: ReplayPeer): SeenMeter => ({
    id: peer.id,
    name: peer.name,
    rssi: -50,
    services: [...peer.services, ...broadcastOf(peer).map((d) => d.uuid)],
  });
  const broadcastOf = (peer: ReplayPeer): readonly ServiceData[] => peer.broadcast?.(clock.nowMs()) ?? [];

  /** Looks at each peripheral in range, again and again, until aborted. */
  function scan(signal: Abort, look: (peer: ReplayPeer) => void): Promise<void> {
    return new Promise<void>((resolve) => {
      let cancel: Cancel = () => undefined;
      const end = (): void => {
        cancel();
        resolve();
      };
      const pass = (): void => {
        for (const peer of peers) if (!signal.aborted && peer.inRange(clock.nowMs())) look(peer);
        if (!signal.aborted) cancel = clock.after(SCAN_EVERY_MS, pass);
      };
      if (signal.aborted) return end();
      signal.addEventListener('abort', end);
      pass();
    });
  }

  return {
    kind: 'replay',

    find: ({ services, signal, onSeen }) =>
      scan(signal, (peer) => {
        const meter = seen(peer);
        if (services.length === 0 || meter.services.some((s) => services.includes(s))) onSeen(meter);
      }),

    listen: ({ services, signal, onAdvertisement }) =>
      scan(signal, (peer) => {
        const { id, name, rssi } = seen(peer);
        const serviceData = broadcastOf(peer);
        if (!serviceData.some((d) => services.includes(d.uuid))) return;
        const address = /^([0-9a-f]{2}:){5}[0-9a-f]{2}$/.test(id) ? id : null;
        onAdvertisement({ id, address, name, rssi, serviceData, atMs: clock.nowMs() });
      }),

    async connect(id, { timeoutMs, signal }) {
      const peer = peers.find((p) => p.id === id);
      if (!peer) throw new LinkError('not-found', `There is no meter "${id}" in this replay.`);
      await withTimeLimit(untilInRange(peer, clock), { clock, ms: timeoutMs, what: 'Connecting', signal });
      return openConnection(peer, seen(peer), clock);
    },
  };
}

function untilInRange(peer: ReplayPeer, clock: Clock): Promise<void> {
  return new Promise((resolve) => {
    const look = (): void => {
      if (peer.inRange(clock.nowMs())) resolve();
      else clock.after(CONNECT_TRY_MS, look);
    };
    look();
  });
}

function openConnection(peer: ReplayPeer, meter: SeenMeter, clock: Clock): Connection {
  const listeners: { readonly ref: CharacteristicRef; readonly onBytes: OnBytes }[] = [];
  const dropListeners: ((reason: string, endedBy: EndedBy) => void)[] = [];
  const ended = createAbort();
  let dropReason: string | null = null;
  let dropBy: EndedBy = 'unknown';

  function end(reason: string | null, endedBy: EndedBy = 'unknown'): void {
    if (ended.signal.aborted) return;
    dropReason = reason;
    dropBy = endedBy;
    ended.abort();
    stop();
    if (reason !== null) for (const listener of dropListeners) listener(reason, endedBy);
  }

  const stop = peer.connected({
    clock,
    notify(ref, bytes) {
      if (ended.signal.aborted) return;
      for (const l of listeners) if (sameRef(l.ref, ref)) l.onBytes(bytes, clock.nowMs());
    },
    drop: (reason, endedBy) => end(reason, endedBy),
  });

  function characteristic(ref: CharacteristicRef): ReplayPeer['characteristics'][number] {
    if (ended.signal.aborted) throw new LinkError('dropped', dropReason ?? 'The connection is closed.');
    const found = peer.characteristics.find((c) => sameRef(c, ref));
    if (!found) throw new LinkError('refused', 'The meter has no such characteristic.');
    return found;
  }

  return {
    meter,
    characteristics: peer.characteristics,
    async read(ref) {
      if (!characteristic(ref).canRead) throw new LinkError('refused', 'This characteristic cannot be read.');
      return peer.read(ref, clock.nowMs());
    },
    async readDescriptor(ref, descriptor) {
      const value = characteristic(ref).descriptorValues.find((d) => d.uuid === descriptor);
      if (!value) throw new LinkError('refused', 'The characteristic has no such descriptor.');
      return value.bytes;
    },
    async write(ref, bytes) {
      if (!characteristic(ref).canWrite)
        throw new LinkError('refused', 'This characteristic cannot be written.');
      peer.written?.(ref, bytes);
    },
    async subscribe(ref, onBytes) {
      if (!characteristic(ref).canNotify)
        throw new LinkError('refused', 'This characteristic does not notify.');
      const at = listeners.findIndex((l) => sameRef(l.ref, ref));
      if (at >= 0) listeners.splice(at, 1);
      listeners.push({ ref, onBytes });
    },
    onDropped(listener) {
      if (dropReason !== null) listener(dropReason, dropBy);
      else dropListeners.push(listener);
    },
    async close() {
      end(null);
    },
  };
}
