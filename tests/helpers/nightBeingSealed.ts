import { columnsOf } from '../../server/samples/columns.ts';
import type { Store } from '../../server/store/store.ts';

export interface NightClock {
  readonly startMs: number;
  utcMs: number;
}

/** A running overnight test of one meter with a current and a voltage channel. @returns the recording's id */
export function startNight(store: Store, startMs: number): string {
  const channel = (quantity: 'current' | 'voltage') => ({
    meterKey: 'server:m1',
    meterName: 'Clamp',
    driver: 'd',
    key: quantity,
    quantity,
    label: quantity,
    apertureMs: null,
  });
  return store.createRecording({
    caseId: null,
    kind: 'overnight-test',
    title: 'Night',
    startedAt: new Date(startMs).toISOString(),
    zone: 'UTC',
    provenance: '',
    state: 'recording',
    channels: [channel('current'), channel('voltage')],
  }).id;
}

/**
 * Ten seconds of readings at a time, ten a second, the voltage late by one second once a minute, a note every five
 * minutes. The clock goes along, so that a store that seals by it does so on the way.
 */
export function recordMinutes(store: Store, id: string, clock: NightClock, minutes: number): void {
  const { channels } = store.getRecording(id);
  for (let s = 0; s < minutes * 60; s += 10) {
    const t = Array.from({ length: 100 }, (_, i) => clock.utcMs - clock.startMs + i * 100);
    const samples = channels.map((c, k) => ({
      channelId: c.id,
      columns: columnsOf(
        t.map((x, i) => (k === 1 && s % 60 === 0 && i >= 70 && i < 80 ? x - 1000 : x)),
        t.map((x) => (x / 100) % 97),
        t.map(() => -3),
        t.map((_, i) => (i === 3 && s % 50 === 0 ? 4 : 0)),
      ),
    }));
    const events =
      s % 300 === 0 ? [{ atMs: t[0]!, kind: 'note' as const, text: `note ${s}`, value: null }] : [];
    clock.utcMs += 10_000;
    store.commit({ recordingId: id, samples, gaps: [], events, batch: null });
  }
}
