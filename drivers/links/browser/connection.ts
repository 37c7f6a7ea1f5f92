import { createAbort } from '../../core/abort.ts';
import type { Clock } from '../../core/clock.ts';
import { sameRef } from '../../core/driver.ts';
import { LinkError } from '../../core/errors.ts';
import type { CharacteristicRef, Connection, SeenMeter } from '../../core/link.ts';
import { withTimeLimit } from '../../core/timeLimit.ts';
import type { Discovered } from './discovery.ts';
import { linkError, type Doing } from './errors.ts';
import { bytesOf, listen, type Listener } from './listener.ts';
import { oneAtATime, untilFree } from './turns.ts';

export interface ConnectionParts {
  readonly meter: SeenMeter;
  readonly discovered: readonly Discovered[];
  readonly clock: Clock;
  readonly operationTimeoutMs: number;
  /** Closes the browser's connection; called by `close` only. */
  readonly disconnect: () => void;
}

export interface OpenConnection {
  readonly connection: Connection;
  /** To be called when the browser says that the connection has ended. */
  lost(reason: string): void;
}

export function openConnection(parts: ConnectionParts): OpenConnection {
  const { clock, discovered } = parts;
  const ms = parts.operationTimeoutMs;
  const inTurn = oneAtATime();
  const listeners = new Map<Discovered, Listener>();
  const dropListeners: ((reason: string) => void)[] = [];
  const ended = createAbort();
  let lostFor: string | null = null;

  function end(reason: string | null): void {
    if (ended.signal.aborted) return;
    lostFor = reason;
    for (const listener of listeners.values()) listener.stop();
    listeners.clear();
    ended.abort();
    if (reason !== null) for (const listener of dropListeners) listener(reason);
  }

  /** One GATT operation in its turn and within its time. */
  function operate<T>(doing: Doing, ref: CharacteristicRef, work: (d: Discovered) => Promise<T>): Promise<T> {
    return inTurn(async () => {
      try {
        if (ended.signal.aborted) throw new LinkError('dropped', lostFor ?? 'The connection is closed.');
        const target = discovered.find((d) => sameRef(d.info, ref));
        if (!target) throw new LinkError('refused', 'The meter has no such characteristic.');
        const trying = untilFree(clock, ms, () => work(target));
        return await withTimeLimit(trying, { clock, ms, what: `The meter (${doing})`, signal: ended.signal });
      } catch (error) {
        if (ended.signal.aborted) throw new LinkError('dropped', lostFor ?? 'The connection is closed.');
        throw linkError(error, doing);
      }
    });
  }

  const connection: Connection = {
    meter: parts.meter,
    characteristics: discovered.map((d) => d.info),
    read(ref) {
      return operate('reading', ref, async (d) => {
        const read = (): Promise<DataView> => d.remote.readValue();
        return bytesOf(await (listeners.get(d)?.reading(read) ?? read()));
      });
    },
    readDescriptor(ref, uuid) {
      return operate('reading', ref, async ({ remote }) => {
        const descriptor = await remote.getDescriptor(uuid);
        return bytesOf(await descriptor.readValue());
      });
    },
    write(ref, bytes, withResponse) {
      const copy = Uint8Array.from(bytes);
      return operate('writing', ref, ({ remote }) =>
        withResponse ? remote.writeValueWithResponse(copy) : remote.writeValueWithoutResponse(copy),
      );
    },
    subscribe(ref, onBytes) {
      return operate('subscribing', ref, async (d) => {
        listeners.get(d)?.stop();
        const listener = listen(d.remote, clock, onBytes);
        listeners.set(d, listener);
        try {
          await d.remote.startNotifications();
        } catch (error) {
          listener.stop();
          listeners.delete(d);
          throw error;
        }
      });
    },
    onDropped(listener) {
      if (lostFor !== null) listener(lostFor);
      else dropListeners.push(listener);
    },
    async close() {
      if (ended.signal.aborted) return;
      end(null);
      parts.disconnect();
    },
  };
  return { connection, lost: end };
}
