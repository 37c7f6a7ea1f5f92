import type { Clock } from '../../drivers/core/clock.ts';
import { NightdrawError } from '../messages/errors.ts';
import type { Meter } from '../messages/meters.ts';
import type { Readings } from '../messages/socket.ts';
import { ZERO_CHECK_HOLDS_MS, type HeldZeroCheck, type ZeroCheck } from '../messages/zeroCheck.ts';
import type { Store } from '../store/store.ts';
import type { Broadcast } from './broadcast.ts';

const FEWEST_READINGS = 3;

/** Readings scatter by more than so many last digits: something is being measured (common practice, no source). */
const STEADY_STEPS = 10;
/** The same where it is more, or where the last digit is not known: A and V (common practice, no source). */
const STEADY = 0.05;
/** No clamp's zero is further off, no voltmeter's by a tenth of that: A and V (common practice, no source). */
const FARTHEST = { current: 5, voltage: 0.5 } as const;

export interface ZeroChecksOptions {
  readonly store: Store;
  readonly clock: Clock;
  readonly broadcast: Broadcast;
}

type Taken = Pick<HeldZeroCheck, 'key' | 'quantity'> & { readonly values: number[] };

/** Averages what meters show with nothing to measure, and keeps the last check of each for the next recording. */
export class ZeroChecks {
  constructor(private readonly options: ZeroChecksOptions) {}

  held(): HeldZeroCheck[] {
    const oldestMs = this.options.clock.utcMs() - ZERO_CHECK_HOLDS_MS;
    return this.options.store.listHeldZeroChecks().filter((check) => Date.parse(check.takenAt) >= oldestMs);
  }

  forget(meterKey: string): void {
    this.options.store.holdZeroChecks(meterKey, []);
  }

  /**
   * Listens for so many seconds. @returns one check for each current and voltage channel with live readings
   * that had nothing to measure. A meter of both, its clamp off and its leads at the battery, is checked in current only.
   * @throws NightdrawError meter-unreachable where too few came; conflict where readings are not steady, or far from zero
   */
  async take(meter: Meter, seconds: number): Promise<readonly HeldZeroCheck[]> {
    const { clock, broadcast } = this.options;
    const fromMs = clock.nowMs();
    const takenAt = new Date(clock.utcMs() + seconds * 500).toISOString();
    const channels = new Map<string, Taken>();
    const stop = broadcast.listen({
      onReadings: (readings) => {
        if (readings.meterKey === meter.key) gather(channels, readings, fromMs);
      },
    });
    await new Promise<void>((resolve) => clock.after(seconds * 1000, resolve));
    stop();
    const checks = [...channels.values()]
      .filter(({ values }) => values.length >= FEWEST_READINGS)
      .map(({ key, quantity, values }): HeldZeroCheck => {
        const step = meter.channels.find((c) => c.key === key)?.step ?? null;
        const { mean, scatter, standardUncertainty } = zeroOf(values, step);
        return {
          meterKey: meter.key,
          key,
          quantity,
          takenAt,
          durationMs: seconds * 1000,
          readings: values.length,
          mean,
          scatter,
          standardUncertainty,
        };
      });
    if (checks.length === 0)
      throw new NightdrawError(
        'meter-unreachable',
        `${meter.name} sent too few live readings for a zero check. Is HOLD off?`,
      );
    const judged = checks.map((check) => ({ check, objection: objectionTo(check, meter) }));
    const fine = judged.filter((j) => j.objection === null).map((j) => j.check);
    const refused = judged.find((j) => j.objection !== null && j.check.quantity === 'current') ?? judged[0]!;
    if (refused.objection !== null && (fine.length === 0 || refused.check.quantity === 'current'))
      throw new NightdrawError('conflict', refused.objection);
    return fine;
  }

  /** Keeps checks for the next recording of their meter. */
  hold(checks: readonly HeldZeroCheck[]): void {
    for (const meterKey of new Set(checks.map((c) => c.meterKey)))
      this.options.store.holdZeroChecks(
        meterKey,
        checks.filter((c) => c.meterKey === meterKey),
      );
  }

  /** Makes the checks part of a recording. @throws NightdrawError conflict without a start time; not-found */
  addTo(recordingId: string, checks: readonly HeldZeroCheck[]): ZeroCheck[] {
    const { store } = this.options;
    const { startedAt, channels } = store.getRecording(recordingId);
    if (startedAt === null)
      throw new NightdrawError('conflict', 'This recording does not say when it was made.');
    const own = checks
      .filter((c) => channels.some((channel) => channel.meterKey === c.meterKey && channel.key === c.key))
      .map((check) => ({ ...check, atMs: Date.parse(check.takenAt) - Date.parse(startedAt) }));
    store.atomically(() => own.forEach((check) => store.addZeroCheck(recordingId, check)));
    return own;
  }
}

/** Why these readings are no zero, in a sentence; null: they are one. */
function objectionTo({ key, quantity, mean, scatter }: HeldZeroCheck, meter: Meter): string | null {
  if (quantity === 'temperature') return null;
  const step = meter.channels.find((c) => c.key === key)?.step ?? 0;
  const clamp = quantity === 'current';
  const shown = (value: number) => `${Number(value.toPrecision(3))} ${clamp ? 'A' : 'V'}`;
  if (Math.abs(mean) > FARTHEST[quantity])
    return clamp
      ? `${meter.name} shows ${shown(mean)}, too much for a zero: close the clamp on nothing, or zero it first.`
      : `${meter.name} shows ${shown(mean)}: take its leads off the battery and join them, then check again.`;
  if (scatter > Math.max(STEADY_STEPS * step, STEADY))
    return `${meter.name} is not steady (its readings scatter by ${shown(scatter)}): ${
      clamp ? 'close the clamp on nothing and keep it still' : 'join its leads and keep them still'
    }, then check again.`;
  return null;
}

/** Readings reach the pages a little late: those from before the check are none of it. */
function gather(channels: Map<string, Taken>, readings: Readings, fromMs: number): void {
  for (const { key, quantity, t, value } of readings.channels) {
    if (quantity === 'temperature') continue;
    const taken = channels.get(key) ?? { key, quantity, values: [] };
    channels.set(key, taken);
    taken.values.push(...value.filter((v, i): v is number => v !== null && t[i]! >= fromMs));
  }
}

/**
 * Mean of readings, their standard deviation, and the standard uncertainty of the mean: what scatters is averaged,
 * the last digit (rectangular, GUM 4.3.7) is not.
 */
export function zeroOf(
  values: readonly number[],
  step: number | null,
): Pick<ZeroCheck, 'mean' | 'scatter' | 'standardUncertainty'> {
  const n = values.length;
  const mean = values.reduce((sum, v) => sum + v, 0) / n;
  const squares = values.reduce((sum, v) => sum + (v - mean) ** 2, 0);
  const scatter = n > 1 ? Math.sqrt(squares / (n - 1)) : 0;
  return {
    mean,
    scatter,
    standardUncertainty: Math.hypot(scatter / Math.sqrt(n), (step ?? 0) / Math.sqrt(12)),
  };
}
