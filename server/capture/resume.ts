import type { Recording, RecordingEvent } from '../messages/records.ts';
import type { Store } from '../store/store.ts';

/**
 * How far a recording has come by the wall clock, milliseconds from its start, for a server that has lost
 * its own clock. Known steps of the wall clock are taken out; it never lies before what is recorded.
 */
export function elapsedMs(recording: Recording, events: readonly RecordingEvent[], utcMs: number): number {
  const steps = events.reduce((sum, e) => sum + (e.kind === 'clock-step' ? (e.value ?? 0) : 0), 0);
  const byClock = recording.startedAt === null ? 0 : utcMs - Date.parse(recording.startedAt) - steps;
  const recorded = events.reduce((latest, e) => Math.max(latest, e.atMs), recording.durationMs);
  return Math.max(byClock, recorded);
}

/** The time of a channel's last stored sample, or 0; looks back in growing steps so as not to read a whole month. */
export function lastSampleMs(store: Pick<Store, 'readSamples'>, channelId: number, untilMs: number): number {
  for (let back = 60_000; ; back *= 8) {
    const from = untilMs - back;
    const { t, length } = store.readSamples(channelId, Math.max(0, from), Infinity);
    if (length > 0) return t[length - 1]!;
    if (from <= 0) return 0;
  }
}

export function awayText(ms: number): string {
  const minutes = ms / 60_000;
  return minutes < 2
    ? `The server was away for ${Math.round(ms / 1000)} s.`
    : `The server was away for ${minutes < 120 ? `${Math.round(minutes)} min` : `${(minutes / 60).toFixed(1)} h`}.`;
}
