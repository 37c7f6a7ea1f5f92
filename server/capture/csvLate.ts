import { ColumnBuilder } from '../samples/builder.ts';
import { emptyColumns, type SampleColumns } from '../samples/columns.ts';
import type { RowBlock } from './csvReading.ts';
import { RowSamples } from './csvValue.ts';

/** The readings of a block that came in order, with their times; those that arrived late are added to `late`. */
export function splitLate(
  block: RowBlock,
  straight: { readonly t: Float64Array; readonly late: Uint8Array },
  late: readonly ColumnBuilder[] | null,
): SampleColumns[] {
  return block.columns.map((samples, k) => {
    const all = samples.at(straight.t);
    if (!straight.late.includes(1)) return all;
    const inOrder = new ColumnBuilder(all.length);
    for (let i = 0; i < all.length; i++) {
      const into = straight.late[samples.row[i]!] === 1 ? late?.[k] : inOrder;
      into?.push(all.t[i]!, all.counts[i]!, all.scale[i]!, all.flags[i]!);
    }
    return inOrder.columns();
  });
}

/** The same columns by time; of equal times in the order in which they came. */
export function byTime({ length, t, counts, scale, flags }: SampleColumns): SampleColumns {
  const order = Uint32Array.from(t, (_, i) => i).sort((a, b) => t[a]! - t[b]! || a - b);
  return {
    length,
    t: Float64Array.from(order, (i) => t[i]!),
    counts: Float64Array.from(order, (i) => counts[i]!),
    scale: Int8Array.from(order, (i) => scale[i]!),
    flags: Uint16Array.from(order, (i) => flags[i]!),
  };
}

/** Puts late readings of one channel where their times say, among those that come in order, piece by piece. */
export class LateAmong {
  private next = 0;

  /** @param late by time */
  constructor(private readonly late: SampleColumns) {}

  /** The piece with the late ones that belong before or into it. What has the same time came before a late one. */
  into(piece: SampleColumns): SampleColumns {
    const last = piece.t[piece.length - 1] ?? -Infinity;
    if (!(this.late.t[this.next]! < last)) return piece;
    const out = new ColumnBuilder(2 * piece.length);
    for (let i = 0; i < piece.length; i++) {
      while (this.late.t[this.next]! < piece.t[i]!) this.take(out);
      out.push(piece.t[i]!, piece.counts[i]!, piece.scale[i]!, piece.flags[i]!);
    }
    return out.columns();
  }

  rest(): SampleColumns {
    if (this.next >= this.late.length) return emptyColumns();
    const out = new ColumnBuilder(this.late.length - this.next);
    while (this.next < this.late.length) this.take(out);
    return out.columns();
  }

  private take(out: ColumnBuilder): void {
    const { t, counts, scale, flags } = this.late;
    const i = this.next++;
    out.push(t[i]!, counts[i]!, scale[i]!, flags[i]!);
  }
}

/** A block that stays as it is when the next one is read. */
export function copyOf({ rows, t, lines, columns }: RowBlock): RowBlock {
  return {
    rows,
    t: t.slice(),
    lines: lines.slice(),
    columns: columns.map((c) => RowSamples.copyOf(c, rows)),
  };
}
