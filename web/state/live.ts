import { isLive, type Quantity } from '../../drivers/core/reading.ts';
import type { Meter } from '../../server/messages/meters.ts';
import type { AttemptOutcome } from '../../server/messages/records.ts';
import type { Readings } from '../../server/messages/socket.ts';

/** Seconds that the running chart shows. */
export const RUNNING_S = 60;
/** Without a reading for so long a figure is called old. */
export const OLD_AFTER_MS = 5000;

/** So far back no reading comes late: the server has been started anew, and with it its clock. */
const NEW_CLOCK_MS = 2000;

/** A channel that has sent something. */
export interface LiveChannel {
  readonly id: string;
  readonly meterKey: string;
  readonly quantity: Quantity;
  /** The meter's own digits at the last live reading, in V, A or degC. */
  readonly text: string;
  readonly value: number | null;
  /** On the server's clock; null before the first reading. */
  readonly atMs: number;
  /** False when the meter's last word was a hold, an overload, a blank. */
  readonly live: boolean;
}

/** Live values of one channel over the last minute, oldest first; null breaks the line. */
export interface Trace {
  readonly t: number[];
  readonly y: (number | null)[];
}

export interface Attempt {
  readonly number: number;
  readonly outcome: Outcome;
  readonly atMs: number;
  readonly lowestV: number | null;
}

/** How a try can end, with the letter that marks it, and the words for the recording's log. */
export const OUTCOMES = [
  { outcome: 'opened', label: 'It opened', hint: 'by the handle', letter: 'o', log: 'opened by the handle' },
  {
    outcome: 'button-only',
    label: 'Button only',
    hint: 'the handle failed',
    letter: 'b',
    log: 'the handle failed, the button worked',
  },
  { outcome: 'locked-by-touch', label: 'Locked', hint: 'by touch', letter: 't', log: 'locked by touch' },
  {
    outcome: 'nothing',
    label: 'Nothing',
    hint: 'nor the button',
    letter: 'n',
    log: 'nothing at all, not even by the button',
  },
] as const satisfies readonly { readonly outcome: AttemptOutcome; readonly [text: string]: string }[];
export type Outcome = AttemptOutcome;

interface Track {
  channel: LiveChannel;
  t: number[];
  y: (number | null)[];
  lowest: { value: number; text: string; atMs: number } | null;
}

export function channelId(meterKey: string, key: string): string {
  return `${meterKey}|${key}`;
}

/** All that the live watch knows. Fed from the socket, read once a frame. */
export class LiveBoard {
  private readonly tracks = new Map<string, Track>();
  private readonly marked: Attempt[] = [];

  take(readings: Readings): void {
    for (const part of readings.channels) {
      const n = part.t.length;
      if (n === 0) continue;
      const id = channelId(readings.meterKey, part.key);
      const track = this.tracks.get(id) ?? this.begin(id, readings.meterKey, part.quantity);
      for (let i = 0; i < n; i++) this.add(track, part.t[i]!, part.value[i] ?? null, part.flags[i] ?? 0);
      const last = n - 1;
      const live = part.value[last] !== null && isLive(part.flags[last] ?? 0);
      track.channel = {
        ...track.channel,
        atMs: part.t[last]!,
        live,
        ...(live ? { text: part.text, value: part.value[last] ?? null } : {}),
      };
      // The wire carries the digits of the newest reading only; an older one of the batch is kept as a number.
      if (track.lowest !== null && track.lowest.atMs === part.t[last] && live) track.lowest.text = part.text;
      this.trim(track);
    }
  }

  /** Channels in the order in which they first spoke. */
  channels(): LiveChannel[] {
    return [...this.tracks.values()].map((t) => t.channel);
  }

  trace(id: string): Trace {
    const track = this.tracks.get(id);
    return track === undefined ? { t: [], y: [] } : { t: track.t, y: track.y };
  }

  /** The lowest value since it was let go, and when; null before the first reading. */
  lowest(id: string): { readonly value: number; readonly text: string; readonly atMs: number } | null {
    return this.tracks.get(id)?.lowest ?? null;
  }

  /** Lets go of the lowest values; holding begins again with the next reading. */
  release(): void {
    for (const track of this.tracks.values()) track.lowest = null;
  }

  /** Marks a try at the handle: it owns the lowest voltage held since the last one. */
  mark(outcome: Outcome, atMs: number, voltageId: string | null): Attempt {
    const attempt: Attempt = {
      number: this.marked.length + 1,
      outcome,
      atMs,
      lowestV: voltageId === null ? null : (this.lowest(voltageId)?.value ?? null),
    };
    this.marked.push(attempt);
    this.release();
    return attempt;
  }

  attempts(): readonly Attempt[] {
    return this.marked;
  }

  /** Forgets channels of meters that are gone. */
  keepOnly(meterKeys: ReadonlySet<string>): void {
    for (const [id, track] of this.tracks) if (!meterKeys.has(track.channel.meterKey)) this.tracks.delete(id);
  }

  private begin(id: string, meterKey: string, quantity: Quantity): Track {
    const track: Track = {
      channel: { id, meterKey, quantity, text: '', value: null, atMs: 0, live: false },
      t: [],
      y: [],
      lowest: null,
    };
    this.tracks.set(id, track);
    return track;
  }

  private add(track: Track, atMs: number, value: number | null, flags: number): void {
    const y = value !== null && isLive(flags) ? value : null;
    let before = track.t[track.t.length - 1];
    if (before !== undefined && atMs < before - NEW_CLOCK_MS) {
      track.t = [];
      track.y = [];
      before = undefined;
    }
    if (before !== undefined && atMs <= before) return;
    if (before !== undefined && atMs - before > OLD_AFTER_MS) {
      track.t.push((before + atMs) / 2);
      track.y.push(null);
    }
    track.t.push(atMs);
    track.y.push(y);
    if (y !== null && (track.lowest === null || y < track.lowest.value))
      track.lowest = { value: y, text: '', atMs };
  }

  private trim(track: Track): void {
    const oldest = track.t[track.t.length - 1]! - (RUNNING_S + 5) * 1000;
    const first = track.t.findIndex((t) => t >= oldest);
    // Dropping in large pieces keeps the cost of a reading constant.
    if (first > track.t.length / 2) {
      track.t.splice(0, first);
      track.y.splice(0, first);
    }
  }
}

/** Real meters before virtual ones, then as they came. */
export function inOrderOfTrust(channels: readonly LiveChannel[]): LiveChannel[] {
  const rank = (c: LiveChannel): number => (c.meterKey.startsWith('virtual:') ? 1 : 0);
  return [...channels].sort((a, b) => rank(a) - rank(b));
}

/** The channel to show large: the one asked for while it exists, else the first that is to be trusted. */
export function chosenChannel(
  channels: readonly LiveChannel[],
  quantity: Quantity,
  wanted: string | null,
): LiveChannel | null {
  const fit = inOrderOfTrust(channels.filter((c) => c.quantity === quantity));
  return fit.find((c) => c.id === wanted) ?? fit[0] ?? null;
}

export type Freshness = 'fresh' | 'old' | 'none';

/** Whether a figure may be believed: nothing for five seconds makes it old. */
export function freshness(channel: LiveChannel | null, nowMs: number | null): Freshness {
  if (channel === null || channel.text === '') return 'none';
  if (!channel.live) return 'old';
  return nowMs !== null && nowMs - channel.atMs > OLD_AFTER_MS ? 'old' : 'fresh';
}

/** Text of an attempt in the recording's log. */
export function attemptText(attempt: Attempt): string {
  const word = OUTCOMES.find((o) => o.outcome === attempt.outcome)!.log;
  return attempt.lowestV === null ? word : `${word}, lowest ${attempt.lowestV.toFixed(3)} V`;
}

/** Meters that a recording can be started with. */
export function recordable(meters: readonly Meter[]): Meter[] {
  return meters.filter(
    (m) => (m.state === 'connected' || m.state === 'reconnecting') && m.channels.length > 0,
  );
}
