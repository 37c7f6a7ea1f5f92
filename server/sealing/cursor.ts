import { emptyColumns, joinColumns, sliceColumns, type SampleColumns } from '../samples/columns.ts';

/** The samples of one channel in the order in which they were recorded, taken piece by piece. */
export class SampleCursor {
  private readonly pieces: Iterator<SampleColumns>;
  private piece = emptyColumns();
  private at = 0;

  constructor(pieces: Iterable<SampleColumns>) {
    this.pieces = pieces[Symbol.iterator]();
  }

  /** Time of the next sample, milliseconds; null after the last. */
  nextMs(): number | null {
    return this.refill() ? this.piece.t[this.at]! : null;
  }

  /** The next `count` samples, fewer at the end. */
  take(count: number): SampleColumns {
    let left = count;
    return this.takeWhile(() => left-- > 0);
  }

  /** What comes before the first sample that is not earlier than `endMs`. */
  takeBefore(endMs: number): SampleColumns {
    return this.takeWhile((t) => t < endMs);
  }

  private takeWhile(wanted: (t: number) => boolean): SampleColumns {
    const parts: SampleColumns[] = [];
    while (this.refill()) {
      const from = this.at;
      while (this.at < this.piece.length && wanted(this.piece.t[this.at]!)) this.at++;
      if (this.at > from) parts.push(sliceColumns(this.piece, from, this.at));
      if (this.at < this.piece.length) break;
    }
    return parts.length === 1 ? parts[0]! : joinColumns(parts);
  }

  /** Whether there is a next sample; empty pieces are passed over. */
  private refill(): boolean {
    while (this.at >= this.piece.length) {
      const next = this.pieces.next();
      if (next.done === true) return false;
      this.piece = next.value;
      this.at = 0;
    }
    return true;
  }
}
