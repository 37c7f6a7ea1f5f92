import type { SessionReading } from '../../drivers/session/types.ts';
import type { Gap, Recording, RecordingEvent } from '../messages/records.ts';
import { BadFrames } from './badFrames.ts';
import type { Sleep } from './clockSteps.ts';
import type { Recorder } from './recorder.ts';

interface OpenChannel {
  readonly id: number;
  readonly meterKey: string;
  lastMs: number;
  /** No reading since then, for a reason that no session will report. */
  absent: { readonly startMs: number; readonly reason: Gap['reason'] } | null;
}

/** Everything that happens to one running recording, on its own time axis. */
export class OpenRecording {
  private readonly channels = new Map<string, OpenChannel>();
  private readonly badFrames = new Map<string, BadFrames>();
  private readonly steps: { atMs: number; stepMs: number }[] = [];

  /** Spans that the clock did not count because the computer slept. */
  private readonly slept: { readonly fromNowMs: number; readonly missedMs: number }[] = [];

  constructor(
    public recording: Recording,
    private readonly begunNowMs: number,
    readonly recorder: Recorder,
  ) {
    this.update(recording);
  }

  /** Takes over what the store now says of the recording, new channels included. */
  update(recording: Recording): void {
    this.recording = recording;
    for (const c of recording.channels) {
      const name = channelName(c.meterKey, c.key);
      if (!this.channels.has(name))
        this.channels.set(name, { id: c.id, meterKey: c.meterKey, lastMs: 0, absent: null });
    }
  }

  hasMeter(meterKey: string): boolean {
    return this.recording.channels.some((c) => c.meterKey === meterKey);
  }

  /** The recording's zero on the clock's `nowMs`, as it holds now. */
  get startNowMs(): number {
    return this.slept.reduce((start, s) => start - s.missedMs, this.begunNowMs);
  }

  /** Whole microseconds: what lies below is the noise of subtracting two doubles. */
  timeOf(nowMs: number): number {
    const start = this.slept.reduce(
      (ms, s) => (nowMs >= s.fromNowMs ? ms - s.missedMs : ms),
      this.begunNowMs,
    );
    return Math.round((nowMs - start) * 1000) / 1000;
  }

  /** From `atMs` on the recording's time goes on behind the sleep; this server's meters have a gap there. */
  sleep({ atMs, missedMs }: Sleep): void {
    for (const c of this.channels.values())
      if (!c.meterKey.startsWith('page:')) c.absent ??= { startMs: c.lastMs, reason: 'computer-slept' };
    if (missedMs > 0) this.slept.push({ fromNowMs: atMs, missedMs });
  }

  feed(meterKey: string, readings: readonly SessionReading[]): void {
    for (const { key, reading, atMs, isStamped } of readings) {
      const channel = this.channels.get(channelName(meterKey, key));
      // The radio delivers tens of milliseconds late; digits below one would be noise, and a third of the file.
      const t = isStamped === true ? this.timeOf(atMs) : Math.round(this.timeOf(atMs));
      if (channel === undefined || t < 0) continue;
      if (!Number.isFinite(reading.counts)) {
        this.badFrame(meterKey, 'The meter sent a value that is not a number.', atMs);
        continue;
      }
      this.endAbsence(channel, t);
      channel.lastMs = t;
      this.recorder.add(channel.id, t, reading);
    }
  }

  /** `channelKey` null: of all channels of the meter. */
  gap(
    meterKey: string,
    startNowMs: number,
    endNowMs: number,
    reason: Gap['reason'],
    channelKey: string | null = null,
  ): void {
    const one = channelKey === null ? undefined : this.channels.get(channelName(meterKey, channelKey));
    for (const channel of channelKey === null ? this.of(meterKey) : one ? [one] : []) {
      const { absent } = channel;
      channel.absent = null;
      const startMs = Math.min(absent?.startMs ?? Infinity, this.timeOf(startNowMs));
      this.addGap(channel.id, startMs, this.timeOf(endNowMs), absent?.reason ?? reason);
    }
  }

  /** From its last reading on, this meter gives none, and no session will say so. */
  absent(meterKey: string, reason: Gap['reason'], lastMs?: (channelId: number) => number): void {
    for (const channel of this.of(meterKey))
      channel.absent ??= { startMs: lastMs?.(channel.id) ?? channel.lastMs, reason };
  }

  event(kind: RecordingEvent['kind'], text: string, nowMs: number, value: number | null = null): void {
    this.recorder.addEvent({ atMs: Math.max(0, this.timeOf(nowMs)), kind, text, value });
  }

  badFrame(meterKey: string, sentence: string, nowMs: number): void {
    let frames = this.badFrames.get(meterKey);
    if (frames === undefined) this.badFrames.set(meterKey, (frames = new BadFrames()));
    const text = frames.see(sentence, nowMs);
    if (text !== null) this.event('bad-frame', text, nowMs);
  }

  /** Two clocks of one computer, this server's and a page's, see the same step: it is recorded once. */
  knowsStep(atMs: number, stepMs: number): boolean {
    return this.steps.some(
      (s) => Math.abs(s.atMs - atMs) < 5000 && Math.abs(s.stepMs - stepMs) < 0.1 * Math.abs(stepMs) + 50,
    );
  }

  noteStep(atMs: number, stepMs: number): void {
    this.steps.push({ atMs, stepMs });
  }

  /** Says what is still unsaid when the recording ends: absent meters and frames that were refused. */
  finish(nowMs: number, isConnected: (meterKey: string) => boolean): void {
    const endMs = this.timeOf(nowMs);
    for (const channel of this.channels.values()) {
      if (channel.absent !== null) this.endAbsence(channel, endMs);
      else if (!channel.meterKey.startsWith('page:') && !isConnected(channel.meterKey))
        this.addGap(channel.id, channel.lastMs, endMs, 'dropped');
    }
    for (const frames of this.badFrames.values()) {
      const text = frames.rest();
      if (text !== null) this.event('bad-frame', text, nowMs);
    }
  }

  private of(meterKey: string): OpenChannel[] {
    return [...this.channels.values()].filter((c) => c.meterKey === meterKey);
  }

  private endAbsence(channel: OpenChannel, endMs: number): void {
    if (channel.absent === null) return;
    this.addGap(channel.id, channel.absent.startMs, endMs, channel.absent.reason);
    channel.absent = null;
  }

  private addGap(channelId: number, startMs: number, endMs: number, reason: Gap['reason']): void {
    const from = Math.max(0, startMs);
    if (endMs > from) this.recorder.addGap({ channelId, startMs: from, endMs, reason });
  }
}

function channelName(meterKey: string, key: string): string {
  return `${meterKey}|${key}`;
}
