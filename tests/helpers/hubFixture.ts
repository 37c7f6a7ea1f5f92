import { afterEach, expect } from 'vitest';
import { createBench, type Bench, type BenchOptions } from './hubBench.ts';
import type { FakeMeter } from './fakeMeter.ts';
import { ManualClock } from './manualClock.ts';

/** A hub on a clock of the test's own, closed after each test of the file that imports this. */
export let clock: ManualClock;
export let bench: Bench | null = null;

export function setUp(meters: readonly FakeMeter[], options: Partial<BenchOptions> = {}): Bench {
  clock = new ManualClock();
  bench = createBench({ clock, meters, ...options });
  return bench;
}

export async function connected(meter: FakeMeter): Promise<string> {
  const { key } = bench!.hub.connect(`server:${meter.id}`);
  await clock.advance(10);
  expect(bench!.hub.meters().find((m) => m.key === key)?.state).toBe('connected');
  return key;
}

afterEach(async () => {
  await bench?.close();
  bench = null;
});
