import type { Cancel, Clock } from '../../drivers/core/clock.ts';
import { FLAG, isLive, textOf, valueOf } from '../../drivers/core/reading.ts';
import type { SessionReading } from '../../drivers/session/types.ts';
import type { Readings } from '../../server/messages/socket.ts';

/** The most that one message may carry; a faster stream is thinned to its newest. */
const MOST_PER_CHANNEL = 2000;
const FLUSH_EVERY_MS = 100;

type Shown = Readings['channels'][number];

/** Readings of one meter of this page as screens show them, gathered to a few messages a second. */
export class OwnReadings {
  private channels = new Map<string, Shown>();
  private lastMs = -Infinity;
  private timer: Cancel | null = null;

  /**
   * @param toServerMs a page time on the server's clock; null while that is not known, and nothing is shown
   * @param tell is given what has gathered
   */
  constructor(
    private readonly meterKey: string,
    private readonly clock: Clock,
    private readonly toServerMs: (pageMs: number) => number | null,
    private readonly tell: (readings: Readings) => void,
  ) {}

  add(readings: readonly SessionReading[]): void {
    for (const reading of readings) this.addOne(reading);
    if (this.clock.nowMs() - this.lastMs >= FLUSH_EVERY_MS) this.flush();
    // So that the last reading before a pause is shown too.
    else this.timer ??= this.clock.after(1.5 * FLUSH_EVERY_MS, () => this.flush());
  }

  close(): void {
    this.timer?.();
    this.timer = null;
  }

  private addOne({ key, reading, atMs }: SessionReading): void {
    const t = this.toServerMs(atMs);
    if (t === null) return;
    let shown = this.channels.get(key);
    if (!shown) {
      shown = { key, quantity: reading.quantity, t: [], value: [], text: '', flags: [] };
      this.channels.set(key, shown);
    }
    if (shown.t.length === MOST_PER_CHANNEL)
      for (const column of [shown.t, shown.value, shown.flags]) column.shift();
    const blank = (reading.flags & (FLAG.none | FLAG.overload)) !== 0;
    shown.t.push(t);
    shown.value.push(isLive(reading.flags) ? valueOf(reading.counts, reading.scale) : null);
    shown.flags.push(reading.flags);
    shown.text = blank ? '' : textOf(reading.counts, reading.scale);
  }

  private flush(): void {
    this.close();
    this.lastMs = this.clock.nowMs();
    if (this.channels.size === 0) return;
    const channels = [...this.channels.values()];
    this.channels = new Map();
    this.tell({ meterKey: this.meterKey, channels });
  }
}
