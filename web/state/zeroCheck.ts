import type { Recording } from '../../server/messages/records.ts';
import { ZERO_CHECK_HOLDS_MS, type HeldZeroCheck } from '../../server/messages/zeroCheck.ts';
import { figureLine, roundedFigure } from './figure.ts';

/** A zero check and its spread as the page shows them: "Zero 1.2 mA, spread 1.1 mA (50 readings)". */
export function zeroCheckText({ quantity, mean, scatter, readings }: HeldZeroCheck): string {
  const figure = (value: number) => figureLine(roundedFigure(quantity, value));
  return `Zero of ${quantity} ${figure(mean)}, spread ${figure(scatter)} (${readings} readings)`;
}

/** Recordings of a meter that ended so lately that a check is one after them, last ended first. */
export function lateRecordings(
  recordings: readonly Recording[],
  meterKey: string,
  nowMs: number,
): readonly Recording[] {
  const endMs = (r: Recording) => (r.startedAt === null ? -Infinity : Date.parse(r.startedAt) + r.durationMs);
  return recordings
    .filter(
      (r) =>
        r.state === 'stopped' &&
        r.channels.some((c) => c.meterKey === meterKey) &&
        nowMs - endMs(r) <= ZERO_CHECK_HOLDS_MS,
    )
    .sort((a, b) => endMs(b) - endMs(a));
}
