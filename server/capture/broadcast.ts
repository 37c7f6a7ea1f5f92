import type { Cancel, Clock } from '../../drivers/core/clock.ts';
import { FLAG, isLive, textOf, valueOf, type Quantity } from '../../drivers/core/reading.ts';
import type { Meter } from '../messages/meters.ts';
import type { RawFrame, RawFrames } from '../messages/rawFrames.ts';
import type { Notice, Readings, RecordingMessage } from '../messages/socket.ts';

/** Whoever wants to know what happens: the sockets of the pages, or a command that records. */
export interface HubListener {
  onMeters?(meters: readonly Meter[]): void;
  /** `from` is the page that sent them, which knows them already; null for this server's own meters. */
  onReadings?(readings: Readings, from: string | null): void;
  onRecording?(message: RecordingMessage): void;
  onNotice?(notice: Notice): void;
  /** What a meter of this server sends that is being taught. */
  onFrames?(frames: RawFrames): void;
}

export interface Shown {
  readonly key: string;
  readonly quantity: Quantity;
  readonly counts: number;
  readonly scale: number;
  readonly flags: number;
  readonly atMs: number;
}

type ShownChannel = {
  key: string;
  quantity: Quantity;
  t: number[];
  value: (number | null)[];
  text: string;
  flags: number[];
};

/** The most that one message may carry; a faster stream is thinned to its newest. */
const MOST_PER_CHANNEL = 2000;
const MOST_FRAMES = 200;

/** Tells the listeners: readings and the meter list gathered to a few messages a second, the rest at once. */
export class Broadcast {
  private readonly listeners = new Set<HubListener>();
  private readonly gathered = new Map<string, Map<string, ShownChannel>>();
  private readonly frames = new Map<string, RawFrame[]>();
  private readonly latest = new Map<string, Readings>();
  private metersChanged = false;
  private timer: Cancel | null = null;

  constructor(
    private readonly clock: Clock,
    private readonly meters: () => readonly Meter[],
    private readonly everyMs: number,
  ) {}

  listen(listener: HubListener): Cancel {
    this.listeners.add(listener);
    return () => this.listeners.delete(listener);
  }

  /** The last readings of each meter, for a page that has just come. */
  lastReadings(): readonly Readings[] {
    return [...this.latest.values()];
  }

  forget(meterKey: string): void {
    this.latest.delete(meterKey);
    this.gathered.delete(meterKey);
    this.frames.delete(meterKey);
  }

  meterListChanged(): void {
    this.metersChanged = true;
    this.schedule();
  }

  gather(meterKey: string, readings: readonly Shown[]): void {
    const channels = this.gathered.get(meterKey) ?? new Map<string, ShownChannel>();
    this.gathered.set(meterKey, channels);
    for (const reading of readings) addShown(channels, reading);
    this.schedule();
  }

  frame(meterKey: string, frame: RawFrame): void {
    const frames = this.frames.get(meterKey) ?? [];
    this.frames.set(meterKey, frames);
    if (frames.length >= MOST_FRAMES) frames.shift();
    frames.push(frame);
    this.schedule();
  }

  readings(readings: Readings, from: string | null): void {
    this.latest.set(readings.meterKey, newestOf(readings));
    for (const listener of this.listeners) listener.onReadings?.(readings, from);
  }

  recording(message: RecordingMessage): void {
    for (const listener of this.listeners) listener.onRecording?.(message);
  }

  notice({ level, text }: Notice): void {
    for (const listener of this.listeners) listener.onNotice?.({ level, text: text.slice(0, 400) });
  }

  close(): void {
    this.timer?.();
    this.timer = null;
    this.listeners.clear();
  }

  private schedule(): void {
    this.timer ??= this.clock.after(this.everyMs, () => {
      this.timer = null;
      this.send();
    });
  }

  private send(): void {
    const gathered = [...this.gathered];
    this.gathered.clear();
    for (const [meterKey, channels] of gathered)
      this.readings({ meterKey, channels: [...channels.values()] }, null);
    const frames = [...this.frames];
    this.frames.clear();
    for (const [meterKey, list] of frames) {
      const name = this.meters().find((m) => m.key === meterKey)?.name ?? '';
      for (const listener of this.listeners) listener.onFrames?.({ meterKey, name, frames: list });
    }
    if (!this.metersChanged) return;
    this.metersChanged = false;
    const list = this.meters();
    for (const listener of this.listeners) listener.onMeters?.(list);
  }
}

/** What is not live is shown with its flags and without a value, so that no chart draws it. */
export function addShown(channels: Map<string, ShownChannel>, reading: Shown): void {
  let channel = channels.get(reading.key);
  if (channel === undefined) {
    channel = { key: reading.key, quantity: reading.quantity, t: [], value: [], text: '', flags: [] };
    channels.set(reading.key, channel);
  }
  if (channel.t.length >= MOST_PER_CHANNEL) {
    channel.t.shift();
    channel.value.shift();
    channel.flags.shift();
  }
  channel.t.push(reading.atMs);
  channel.value.push(isLive(reading.flags) ? valueOf(reading.counts, reading.scale) : null);
  channel.flags.push(reading.flags);
  const blank = (reading.flags & (FLAG.none | FLAG.overload)) !== 0;
  channel.text = blank ? '' : textOf(reading.counts, reading.scale);
}

function newestOf(readings: Readings): Readings {
  return {
    meterKey: readings.meterKey,
    channels: readings.channels.map((c) => ({
      ...c,
      t: c.t.slice(-1),
      value: c.value.slice(-1),
      flags: c.flags.slice(-1),
    })),
  };
}
