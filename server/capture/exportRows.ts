import { FLOAT32 } from '../../drivers/core/reading.ts';
import { emptyColumns, type SampleColumns } from '../samples/columns.ts';
import type { Recording } from '../messages/records.ts';
import type { Store } from '../store/store.ts';

/**
 * The rows of a recording in the order of time, each with what the channels said then; read piece by piece. Each
 * channel keeps its own order, so times that went back stay as they were. Zero and minus zero are two times.
 */
export class ExportRows {
  /** Time of the next row, ms; Infinity where there is none. */
  t = Infinity;
  /** For each channel the piece that it is in, and the place of its sample in the present row, or -1. */
  readonly pieces: SampleColumns[];
  readonly at: Int32Array;
  private readonly parts: Iterator<SampleColumns>[];
  private readonly places: Int32Array;

  constructor(parts: readonly Iterable<SampleColumns>[]) {
    this.parts = parts.map((p) => p[Symbol.iterator]());
    this.pieces = parts.map(() => emptyColumns());
    this.at = new Int32Array(parts.length).fill(-1);
    this.places = new Int32Array(parts.length);
    for (let k = 0; k < parts.length; k++) this.refill(k);
    this.findNext();
  }

  /** Makes the next row the present one: `pieces` and `at` say where its samples are until `findNext`. */
  take(): void {
    const { at, places, pieces, t } = this;
    for (let k = 0; k < at.length; k++) {
      const place = places[k]!;
      at[k] = place < pieces[k]!.length && Object.is(pieces[k]!.t[place], t) ? place : -1;
      if (at[k]! >= 0) places[k]!++;
    }
  }

  /** Leaves the present row and looks for the one after it. */
  findNext(): void {
    const { places, pieces } = this;
    let t = Infinity;
    for (let k = 0; k < pieces.length; k++) {
      if (places[k] === pieces[k]!.length) this.refill(k);
      const own = pieces[k]!.t[places[k]!];
      if (own !== undefined) t = Math.min(t, own);
    }
    this.t = t;
  }

  private refill(k: number): void {
    for (;;) {
      const next = this.parts[k]!.next();
      if (next.done === true) return;
      if (next.value.length === 0) continue;
      this.pieces[k] = next.value;
      this.places[k] = 0;
      return;
    }
  }
}

/** What a channel's samples are like, all of them. */
export interface ChannelKind {
  /** Whether any has a flag. */
  flagged: boolean;
  /** Whether any is a binary float. */
  floats: boolean;
  /** Whether every count is an integer of 32 bits, none of them minus zero. */
  small: boolean;
}

/** Looks at every sample, the channels' pieces side by side, because they share their blocks. */
export function kindsOf(store: Store, { channels }: Recording): ChannelKind[] {
  const kinds = channels.map((): ChannelKind => ({ flagged: false, floats: false, small: true }));
  let reading = channels.map((c, k) => ({ kind: kinds[k]!, parts: store.partsOf(c.id)[Symbol.iterator]() }));
  while (reading.length > 0)
    reading = reading.filter(({ kind, parts }) => {
      const next = parts.next();
      if (next.done === true) return false;
      const { counts, scale, flags, length } = next.value;
      for (let i = 0; i < length; i++) {
        if (flags[i] !== 0) kind.flagged = true;
        if (scale[i]! >= FLOAT32) kind.floats = true;
        if (!Object.is(counts[i]! | 0, counts[i])) kind.small = false;
      }
      return true;
    });
  return kinds;
}
