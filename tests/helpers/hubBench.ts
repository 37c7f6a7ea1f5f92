import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import path from 'node:path';
import type { Clock } from '../../drivers/core/clock.ts';
import { createReplayLink } from '../../drivers/links/replay/link.ts';
import { DRIVERS } from '../../drivers/meters/registry.ts';
import type { Claims } from '../../server/capture/claims.ts';
import { Hub, type HubOptions } from '../../server/capture/hub.ts';
import { createVirtualCar } from '../../server/cli/virtualCar.ts';
import { NightdrawError } from '../../server/messages/errors.ts';
import type { BluetoothStatus } from '../../server/messages/meters.ts';
import { SCENARIOS } from '../../server/simulator/scenarios.ts';
import { openStore } from '../../server/store/openStore.ts';
import type { Store } from '../../server/store/store.ts';
import type { FakeMeter } from './fakeMeter.ts';

/** A store on a real database whose disk can be filled, and emptied again, by a test. */
export class FillableStore {
  full: 'store-full' | 'store-failed' | null = null;
  commits = 0;
  readonly store: Store;

  constructor(inner: Store) {
    const check = () => {
      if (this.full !== null) throw new NightdrawError(this.full);
    };
    this.store = {
      ...inner,
      commit: (step) => {
        check();
        this.commits++;
        return inner.commit(step);
      },
      commitAll: (steps) => {
        check();
        this.commits++;
        return inner.commitAll(steps);
      },
      createRecording: (input) => {
        check();
        return inner.createRecording(input);
      },
      stopRecording: (id, durationMs) => {
        check();
        return inner.stopRecording(id, durationMs);
      },
    };
  }
}

export const RADIO_READY: BluetoothStatus = { state: 'ready', reason: null, sentence: 'Ready.' };
export const RADIO_MISSING: BluetoothStatus = {
  state: 'unavailable',
  reason: 'no-adapter',
  sentence: 'This computer has no adapter.',
};

/** Nobody else records. */
export const NO_CLAIMS: Claims = { take: () => {}, drop: () => {}, isElsewhere: () => false };

export interface Bench {
  readonly folder: string;
  readonly fill: FillableStore;
  readonly store: Store;
  readonly hub: Hub;
  /** A second hub on the same database, as a server that starts after a crash. */
  restart(clock?: Clock): Bench;
  close(): Promise<void>;
}

export interface BenchOptions {
  readonly clock: Clock;
  readonly meters?: readonly FakeMeter[];
  readonly radio?: BluetoothStatus;
  readonly hub?: Partial<HubOptions>;
}

/** A hub over fake meters and the virtual car, with a real database in a folder of its own. */
export function createBench(options: BenchOptions, folder = temporaryFolder()): Bench {
  const { clock } = options;
  const fill = new FillableStore(openStore(path.join(folder, 'nightdraw.db')));
  const hub = new Hub({
    store: fill.store,
    clock,
    random: () => 0,
    drivers: DRIVERS,
    radio: {
      link: createReplayLink(options.meters ?? [], clock),
      status: () => options.radio ?? RADIO_READY,
    },
    car: createVirtualCar({ scenario: SCENARIOS.live, seed: () => 7, clock }),
    claims: NO_CLAIMS,
    ...options.hub,
  });
  return {
    folder,
    fill,
    store: fill.store,
    hub,
    restart: (later = clock) => createBench({ ...options, clock: later }, folder),
    async close() {
      await hub.close();
      fill.store.close();
      rmSync(folder, { recursive: true, force: true });
    },
  };
}

export function temporaryFolder(): string {
  return mkdtempSync(path.join(tmpdir(), 'nightdraw-test-'));
}
