import { createAbort } from '../../core/abort.ts';
import type { Cancel, Clock } from '../../core/clock.ts';
import { sameRef } from '../../core/driver.ts';
import { LinkError } from '../../core/errors.ts';
import type { CharacteristicRef, Connection, Link, OnBytes, SeenMeter } from '../../core/link.ts';
import { withTimeLimit } from '../../core/timeLimit.ts';
import type { ReplayPeer } from './peer.ts';

const SCAN_EVERY_MS = 100;
const CONNECT_TRY_MS = 20;

/** A Link over peripherals that are made of data. All time comes from `clock`. */
export function createReplayLink(peers: readonly ReplayPeer[], clock: Clock): Link {
  const seen = (peer: ReplayPeer): SeenMeter => ({
    id: peer.id,
    name: peer.name,
    rssi: -50,
    services: peer.services,
  });

  return {
    kind: 'replay',

    find({ services, signal, onSeen }) {
      return new Promise<void>((resolve) => {
        const look = (): void => {
          for (const peer of peers) {
            const wanted = services.length === 0 || peer.services.some((s) => services.includes(s));
            if (wanted && peer.inRange(clock.nowMs())) onSeen(seen(peer));
          }
          cancel = clock.after(SCAN_EVERY_MS, look);
        };
        let cancel: Cancel = () => undefined;
        const end = (): void => {
          cancel();
          resolve();
        };
        if (signal.aborted) return end();
        signal.addEventListener('abort', end);
        look();
      });
    },

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
  const dropListeners: ((reason: string) => void)[] = [];
  const ended = createAbort();
  let dropReason: string | null = null;

  function end(reason: string | null): void {
    if (ended.signal.aborted) return;
    dropReason = reason;
    ended.abort();
    stop();
    if (reason !== null) for (const listener of dropListeners) listener(reason);
  }

  const stop = peer.connected({
    clock,
    notify(ref, bytes) {
      if (ended.signal.aborted) return;
      for (const l of listeners) if (sameRef(l.ref, ref)) l.onBytes(bytes, clock.nowMs());
    },
    drop: (reason) => end(reason),
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
      if (dropReason !== null) listener(dropReason);
      else dropListeners.push(listener);
    },
    async close() {
      end(null);
    },
  };
}
