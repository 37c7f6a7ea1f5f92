import type { SessionReading } from '../../drivers/session/types.ts';
import type { Gap } from '../../server/messages/records.ts';
import type { Batch } from '../../server/messages/socket.ts';

/** What a batch carries, before it has its number. */
export type BatchBody = Pick<Batch, 'parts' | 'gaps' | 'events'>;
type BatchEvent = Batch['events'][number];
type BatchGap = Batch['gaps'][number];

export const CUT_EVERY_MS = 500;
/** While many batches wait already; fewer and larger ones are sent sooner when the server is back. */
export const CUT_BEHIND_EVERY_MS = 2000;
/** Small enough for one message, large enough that a flood makes few of them. */
export const MOST_READINGS = 4000;
/** As many as a batch may carry. */
const MOST_GAPS = 64;
const MOST_EVENTS = 64;

/** A page clock that stood still this much between two readings hides a gap. */
const HIDDEN_GAP_MS = 1000;
/** Clocks matched anew may put a reading a little before the one that came before it; more is not smoothed over. */
const SMOOTHED_MS = 1000;

/** Where page times lie on the recording's axis. */
export type PlaceInTime = (pageMs: number) => number;

/** Readings of one meter for one recording that are not in a batch yet. All times are page times. */
export class PendingReadings {
  private readings: SessionReading[] = [];
  private gaps: { key: string; startMs: number; endMs: number; reason: Gap['reason'] }[] = [];
  private events: { atMs: number; kind: BatchEvent['kind']; text: string }[] = [];
  /** Last reading of each channel that went into a batch: page time, and place on the axis. */
  private readonly last = new Map<string, { readonly pageMs: number; readonly t: number }>();
  private lastCutMs: number;
  private resumeFromMs: number | null = null;

  /** @param keys channels that the recording wants of this meter */
  constructor(
    private readonly keys: ReadonlySet<string>,
    nowMs: number,
  ) {
    this.lastCutMs = nowMs;
  }

  /** An earlier page stopped there, on the recording's axis: a gap lies from there to the first reading. */
  resumeFrom(placeMs: number | null): void {
    this.resumeFromMs = placeMs;
  }

  get empty(): boolean {
    return this.readings.length === 0 && this.gaps.length === 0 && this.events.length === 0;
  }

  add(readings: readonly SessionReading[]): void {
    for (const reading of readings) if (this.keys.has(reading.key)) this.readings.push(reading);
  }

  /** A gap of one channel, or of every channel where none is named. */
  gap(startMs: number, endMs: number, reason: Gap['reason'], channel?: string): void {
    for (const key of this.keys)
      if (channel === undefined || channel === key) this.gaps.push({ key, startMs, endMs, reason });
  }

  event(atMs: number, kind: BatchEvent['kind'], text: string): void {
    this.events.push({ atMs, kind, text });
  }

  /** Whether a batch is due. Asked as readings arrive; a timer only helps out when they stop arriving. */
  due(nowMs: number, behind: boolean): boolean {
    if (this.empty) return false;
    const everyMs = behind ? CUT_BEHIND_EVERY_MS : CUT_EVERY_MS;
    return nowMs - this.lastCutMs >= everyMs || this.readings.length >= MOST_READINGS;
  }

  /**
   * Takes what waits as batches for the axis from 0 to `untilMs`; what lies outside does not belong to the
   * recording. More than one batch only where one would be too large.
   */
  cut(nowMs: number, place: PlaceInTime, untilMs = Infinity): BatchBody[] {
    this.lastCutMs = nowMs;
    const inside = (t: number): boolean => t >= 0 && t <= untilMs;
    const bodies: BatchBody[] = [];
    const gaps: BatchGap[] = [];
    const first = this.readings[0];
    if (first && this.resumeFromMs !== null) {
      const span = { startMs: this.resumeFromMs, endMs: Math.min(untilMs, place(first.atMs)) };
      if (span.endMs > span.startMs)
        for (const key of this.keys) gaps.push({ key, ...span, reason: 'dropped' });
      this.resumeFromMs = null;
    }
    for (let from = 0; from < this.readings.length; from += MOST_READINGS) {
      const parts = new Map<string, Batch['parts'][number]['samples']>();
      for (const { key, reading, atMs } of this.readings.slice(from, from + MOST_READINGS)) {
        const t = this.inOrder(key, atMs, place(atMs), gaps);
        if (!inside(t)) continue;
        const samples = parts.get(key) ?? { t: [], counts: [], scale: [], flags: [] };
        parts.set(key, samples);
        samples.t.push(t);
        samples.counts.push(reading.counts);
        samples.scale.push(reading.scale);
        samples.flags.push(reading.flags);
      }
      if (parts.size > 0)
        bodies.push({ parts: [...parts].map(([key, samples]) => ({ key, samples })), gaps: [], events: [] });
    }
    for (const { key, startMs, endMs, reason } of this.gaps) {
      const gap = {
        key,
        startMs: Math.max(0, place(startMs)),
        endMs: Math.min(untilMs, place(endMs)),
        reason,
      };
      if (gap.endMs > gap.startMs) gaps.push(gap);
    }
    const events = this.events
      .map(({ atMs, kind, text }) => ({ atMs: place(atMs), kind, text: text.slice(0, 400), value: null }))
      .filter((event) => inside(event.atMs));
    this.readings = [];
    this.gaps = [];
    this.events = [];
    return withExtras(bodies, gaps, events);
  }

  private inOrder(key: string, pageMs: number, place: number, gaps: BatchGap[]): number {
    const last = this.last.get(key);
    const t = last && place < last.t && last.t - place < SMOOTHED_MS ? last.t : place;
    if (last && t - last.t - (pageMs - last.pageMs) > HIDDEN_GAP_MS)
      gaps.push({ key, startMs: Math.max(0, last.t), endMs: t, reason: 'unknown' });
    this.last.set(key, { pageMs, t });
    return t;
  }
}

/** Puts gaps and events into the batches, as many as each may carry, and makes further ones where they do not fit. */
function withExtras(bodies: BatchBody[], gaps: BatchGap[], events: BatchEvent[]): BatchBody[] {
  const count = Math.max(
    bodies.length,
    Math.ceil(gaps.length / MOST_GAPS),
    Math.ceil(events.length / MOST_EVENTS),
  );
  return Array.from({ length: count }, (_, i) => ({
    parts: bodies[i]?.parts ?? [],
    gaps: gaps.slice(i * MOST_GAPS, (i + 1) * MOST_GAPS),
    events: events.slice(i * MOST_EVENTS, (i + 1) * MOST_EVENTS),
  }));
}

export function samplesIn(body: Pick<Batch, 'parts'>): number {
  return body.parts.reduce((sum, part) => sum + part.samples.t.length, 0);
}

/** The latest time that a batch covers, milliseconds from the recording's start; null for one without readings. */
export function latestIn(body: Pick<Batch, 'parts'>): number | null {
  let latest: number | null = null;
  for (const { samples } of body.parts)
    for (const t of samples.t) if (latest === null || t > latest) latest = t;
  return latest;
}
