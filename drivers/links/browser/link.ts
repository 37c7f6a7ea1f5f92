import type { Clock } from '../../core/clock.ts';
import { LinkError } from '../../core/errors.ts';
import type { ConnectOptions, Connection, FindOptions, Link, SeenMeter } from '../../core/link.ts';
import { createAbort } from '../../core/abort.ts';
import { withTimeLimit } from '../../core/timeLimit.ts';
import { pageClock } from './clock.ts';
import { openConnection } from './connection.ts';
import { discover } from './discovery.ts';
import { linkError } from './errors.ts';
import { browserBluetooth } from './support.ts';

export interface BrowserLinkOptions {
  readonly clock?: Clock;
  /** Longest time for one read, write or subscribe, milliseconds. */
  readonly operationTimeoutMs?: number;
}

const CALLED_OFF_MS = 2000;
const LOST = 'The connection to the meter was lost.';

/**
 * Meters over the browser's Web Bluetooth. `find` opens the browser's chooser, which needs a person's
 * gesture, and reports the one meter that was chosen; a chosen meter can be connected to again without
 * asking until the page is reloaded. An abort leaves the chooser open, since a page cannot close it, but
 * what is chosen then is not reported.
 */
export function createBrowserLink(options: BrowserLinkOptions = {}): Link {
  const clock = options.clock ?? pageClock;
  const operationTimeoutMs = options.operationTimeoutMs ?? 8000;
  const chosen = new Map<string, BluetoothDevice>();
  const live = new Map<string, Connection>();
  /** The browser's last connect to each meter, settled or not. */
  const attempts = new Map<string, Promise<unknown>>();

  return {
    kind: 'browser',

    async find({ services, alsoUse = [], signal, onSeen }) {
      const { available, sentence } = browserBluetooth();
      if (!available) throw new LinkError('no-bluetooth', sentence);
      if (signal.aborted) return;
      const optionalServices = [...new Set([...services, ...alsoUse])];
      const asking = navigator.bluetooth.requestDevice(
        services.length > 0
          ? { filters: services.map((uuid) => ({ services: [uuid] })), optionalServices }
          : { acceptAllDevices: true, optionalServices },
      );
      const device = await untilAborted(asking, signal).catch((error: unknown) => {
        throw linkError(error, 'choosing');
      });
      if (device === null) return;
      chosen.set(device.id, device);
      onSeen(seen(device));
    },

    async connect(id, limits) {
      const device = chosen.get(id);
      if (!device?.gatt) throw new LinkError('not-found', 'Choose the meter again; this page has lost it.');
      await live.get(id)?.close();
      const connection = await connectTo(device, device.gatt, limits, () => {
        if (live.get(id) === connection) live.delete(id);
      });
      live.set(id, connection);
      return connection;
    },
  };

  async function connectTo(
    device: BluetoothDevice,
    server: BluetoothRemoteGATTServer,
    { timeoutMs, signal }: ConnectOptions,
    onEnd: () => void,
  ): Promise<Connection> {
    const gone = createAbort();
    const onDisconnected = (): void => gone.abort();
    device.addEventListener('gattserverdisconnected', onDisconnected);
    gone.signal.addEventListener('abort', () =>
      device.removeEventListener('gattserverdisconnected', onDisconnected),
    );

    const opening = async () => {
      // A connect that was called off is still under way for a moment, and would take a new one with it.
      await Promise.race([attempts.get(device.id), wait(clock, CALLED_OFF_MS)]);
      if (gone.signal.aborted) throw new LinkError('aborted', 'Connecting was called off.');
      const attempt = server.connect();
      attempts.set(
        device.id,
        attempt.catch(() => undefined),
      );
      await attempt.catch((error: unknown) => {
        throw linkError(error, 'connecting');
      });
      const limit = { clock, ms: timeoutMs, what: 'Asking the meter what it offers', signal: gone.signal };
      return withTimeLimit(discover(server), limit).catch((error: unknown) => {
        throw gone.signal.aborted ? new LinkError('dropped', LOST) : linkError(error, 'discovering');
      });
    };
    try {
      const limit = { clock, ms: timeoutMs, what: 'Connecting to the meter', signal };
      const discovered = await withTimeLimit(opening(), limit);
      const { connection, lost } = openConnection({
        meter: seen(device),
        discovered,
        clock,
        operationTimeoutMs,
        disconnect() {
          gone.abort();
          server.disconnect();
        },
      });
      gone.signal.addEventListener('abort', () => {
        onEnd();
        lost(LOST); // says nothing after `close`
      });
      return connection;
    } catch (error) {
      gone.abort();
      server.disconnect(); // also calls off a connect that is still under way
      throw error;
    }
  }
}

function wait(clock: Clock, ms: number): Promise<void> {
  return new Promise((resolve) => clock.after(ms, resolve));
}

function seen(device: BluetoothDevice): SeenMeter {
  return { id: device.id, name: device.name || null, rssi: null, services: [] };
}

/** What `work` comes to, or null when the signal is first. */
function untilAborted<T>(work: Promise<T>, signal: FindOptions['signal']): Promise<T | null> {
  return new Promise((resolve, reject) => {
    const onAbort = (): void => resolve(null);
    signal.addEventListener('abort', onAbort);
    void work.finally(() => signal.removeEventListener('abort', onAbort)).then(resolve, reject);
  });
}
