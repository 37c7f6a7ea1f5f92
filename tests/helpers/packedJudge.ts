import { expect } from 'vitest';
import type { SessionHooks } from '../../drivers/session/types.ts';
import type { PackedMeter } from './packedMeter.ts';

type Gap = Parameters<SessionHooks['onGap']>[0];

/** What a session made of a meter of packed samples; times on one clock. */
export interface PackedRun {
  readonly readings: readonly { readonly counts: number; readonly atMs: number }[];
  readonly gaps: readonly Gap[];
}

/** A machine that does other work too may deliver everything late for a while; the samples' own times do not care. */
const SPACING_MS = 0.5;

/**
 * Every sample once and in order but for those of `lostSamples`, which are one gap of their own length; and
 * each at the time at which it was made.
 */
export function judgePacked(
  what: string,
  meter: PackedMeter,
  { readings, gaps }: PackedRun,
  lostSamples: number,
  withinMs: number,
): void {
  const first = readings[0]!.counts;
  const steps = readings
    .slice(1)
    .map((r, i) => (r.counts - readings[i]!.counts + 10_000) % 10_000)
    .filter((step) => step !== 1);
  expect(steps).toEqual([lostSamples + 1]);

  expect(gaps.map((g) => [g.reason, g.channel])).toEqual([['packet-lost', meter.channelKey]]);
  const [gap] = gaps;
  expect(Math.abs(gap!.endMs - gap!.startMs - (lostSamples + 1))).toBeLessThan(SPACING_MS);
  expect(readings.some((r) => r.atMs > gap!.startMs && r.atMs < gap!.endMs)).toBe(false);

  const sorted = (values: number[]): number[] => values.sort((a, b) => a - b);
  const errors = readings.map((r) => r.atMs - meter.truthMs(r.counts, r.atMs));
  // The offset between the clocks settles with the first packets of a connection.
  const settled = errors.slice(1500);
  const size = sorted(settled.map(Math.abs));
  const spread = sorted([...settled]);
  const at = (values: readonly number[], part: number): number => values[Math.floor(values.length * part)]!;
  console.log(
    `${what}: ${readings.length} samples from number ${first}, gap ${(gap!.endMs - gap!.startMs).toFixed(2)} ms; ` +
      `off the truth by ${at(size, 0.5).toFixed(1)} ms at half, ${at(size, 0.99).toFixed(1)} ms at 99 %, ` +
      `spread ${(at(spread, 0.999) - at(spread, 0.001)).toFixed(2)} ms`,
  );
  expect(at(size, 0.99)).toBeLessThan(withinMs);
  expect(at(spread, 0.999) - at(spread, 0.001)).toBeLessThan(withinMs);
}
