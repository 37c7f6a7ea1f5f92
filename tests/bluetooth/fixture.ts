import { afterEach, expect } from 'vitest';
import { createAbort } from '../../drivers/core/abort.ts';
import { LinkError } from '../../drivers/core/errors.ts';
import type { CharacteristicRef, Connection, SeenMeter } from '../../drivers/core/link.ts';
import { createNodeLink, type NodeLink, type NodeLinkOptions } from '../../drivers/links/node/link.ts';
import type { BluetoothStatus } from '../../drivers/links/node/status.ts';
import type { ReplayCharacteristic, ReplayPeer } from '../../drivers/links/replay/peer.ts';
import { startRig, type OnRig, type Rig, type RigOptions } from './rig.ts';

export const SERVICE = '7a1c0001-5b1e-4c63-9d5e-3f0a6e2b9c10';
export const STREAM: CharacteristicRef = {
  service: SERVICE,
  characteristic: '7a1c0002-5b1e-4c63-9d5e-3f0a6e2b9c10',
  index: 0,
};
export const VALUE: CharacteristicRef = {
  service: SERVICE,
  characteristic: '7a1c0003-5b1e-4c63-9d5e-3f0a6e2b9c10',
  index: 0,
};

const plain = (ref: CharacteristicRef, can: 'notify' | 'read'): ReplayCharacteristic => ({
  ...ref,
  canRead: can === 'read',
  canNotify: can === 'notify',
  canWrite: false,
  descriptors: [],
  descriptorValues: [],
});

/** A meter with one value that streams and one that is read. */
export function meter(id: string, value: Uint8Array = Uint8Array.of(7)): ReplayPeer {
  return {
    id,
    name: `Meter ${id}`,
    services: [SERVICE],
    characteristics: [plain(STREAM, 'notify'), plain(VALUE, 'read')],
    inRange: () => true,
    connected: () => () => undefined,
    read: () => value,
  };
}

const cleaning: (() => Promise<void>)[] = [];
afterEach(async () => {
  for (const clean of cleaning.splice(0).reverse()) await clean();
});

export interface Bench {
  readonly rig: Rig;
  readonly link: NodeLink;
  /** Every status since the start, oldest first. */
  readonly statuses: readonly BluetoothStatus[];
  connect(peerId: string, timeoutMs?: number): Promise<Connection>;
  /** Scans until `enough` holds for what was seen. */
  scan(enough: (seen: readonly SeenMeter[]) => boolean): Promise<readonly SeenMeter[]>;
}

/** A rig and a node link on it, both closed after the test; quick to lose patience. */
export async function bench(
  peripherals: readonly (OnRig | ReplayPeer)[],
  linkOptions: NodeLinkOptions = {},
  rigOptions: RigOptions = {},
): Promise<Bench> {
  const onRig = peripherals.map((p) => ('peer' in p ? p : { peer: p }));
  const rig = await startRig({ ...rigOptions, peripherals: onRig });
  const link = createNodeLink({
    childEnv: rig.env,
    pingEveryMs: 100,
    hangAfterMs: 1500,
    connectHangAfterMs: 4500,
    ...linkOptions,
  });
  const statuses: BluetoothStatus[] = [];
  link.onStatus((status) => statuses.push(status));
  cleaning.push(async () => {
    await link.close();
    await rig.close();
    expect(rig.adapter.violations).toEqual([]);
  });
  return {
    rig,
    link,
    statuses,
    connect: (peerId, timeoutMs = 8000) =>
      link.connect(rig.peripheral(peerId).address, { timeoutMs, signal: createAbort().signal }),
    async scan(enough) {
      const seen: SeenMeter[] = [];
      const { signal, abort } = createAbort();
      await link.find({
        services: [],
        signal,
        onSeen(found) {
          seen.push(found);
          if (enough(seen)) abort();
        },
      });
      return seen;
    },
  };
}

/** The code of the LinkError that `work` rejects with. */
export async function failure(work: Promise<unknown>): Promise<string> {
  try {
    await work;
  } catch (error) {
    if (error instanceof LinkError) return error.code;
    throw error;
  }
  return 'nothing failed';
}

export function pause(ms: number): Promise<void> {
  return new Promise((resolve) => setTimeout(resolve, ms));
}

export async function until(holds: () => boolean, ms = 10_000): Promise<void> {
  for (const by = performance.now() + ms; performance.now() < by; await pause(5)) if (holds()) return;
  throw new Error(`did not come about within ${ms} ms`);
}

export function droppedWith(connection: Connection): Promise<string> {
  return new Promise((resolve) => connection.onDropped(resolve));
}
