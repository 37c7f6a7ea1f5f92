/** From when on (page clock) which shift leads from page time to the recording's axis. */
interface Span {
  readonly fromMs: number;
  readonly shiftMs: number;
}

const MOST_SPANS = 64;

/**
 * Places page times on a recording's axis. A later shift (clocks matched anew, a sleep, a restarted server)
 * holds from its moment on; what was read before keeps the place it had.
 */
export class RecordingAxis {
  private spans: Span[] = [];

  get known(): boolean {
    return this.spans.length > 0;
  }

  /** From page time `fromMs` on, a reading at page time p lies at p + `shiftMs`. */
  shift(fromMs: number, shiftMs: number): void {
    if (this.spans.at(-1)?.shiftMs === shiftMs) return;
    // The first shift holds for what was read before it was known as well.
    this.spans.push({ fromMs: this.known ? fromMs : -Infinity, shiftMs });
    if (this.spans.length > MOST_SPANS) {
      this.spans.splice(0, 1);
      this.spans[0] = { ...this.spans[0]!, fromMs: -Infinity };
    }
  }

  /** Moves everything from `fromMs` on by `jumpMs`, as after a sleep of the page's clock. */
  jump(fromMs: number, jumpMs: number): void {
    const last = this.spans.at(-1);
    if (last) this.shift(fromMs, last.shiftMs + jumpMs);
  }

  /** Milliseconds from the recording's start, to a microsecond. */
  at(pageMs: number): number {
    let i = this.spans.length - 1;
    while (i > 0 && this.spans[i]!.fromMs > pageMs) i--;
    return Math.round((pageMs + this.spans[i]!.shiftMs) * 1000) / 1000;
  }
}
