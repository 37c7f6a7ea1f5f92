import { isLive } from '../../drivers/core/reading.ts';
import { BucketSet, bucketsOf, type Buckets } from '../samples/buckets.ts';
import { ColumnBuilder } from '../samples/builder.ts';
import type { SampleColumns } from '../samples/columns.ts';
import { columnsAt } from '../samples/instants.ts';
import { Levels, type Span } from '../samples/levels.ts';
import type { BlockRow, BlockTables } from './blocks.ts';
import type { Series } from './series.ts';

/** The pyramid of one series in memory, as far as its closed blocks went at the last look. */
export interface SeriesView {
  readonly series: Series;
  readonly rows: BlockRow[];
  /** Of the first `filled` rows. */
  readonly levels: Levels;
  filled: number;
}

/** What one channel has in a recording: its place in each series that holds it, and what is still open. */
export interface ZoomedChannel {
  readonly in: readonly { readonly view: SeriesView; readonly place: number }[];
  readonly open: SampleColumns | undefined;
}

/** About two months of current and voltage ten times a second, or as many recordings as fit. */
const MEMORY_BYTES = 128 * 2 ** 20;

/** Pyramids in memory, the ones used last; a series that is larger than the room is kept more coarsely. */
export class ZoomCache {
  private readonly views = new Map<number, SeriesView>();

  constructor(
    private readonly blocks: BlockTables,
    private readonly limit = MEMORY_BYTES,
  ) {}

  /** A series with all its closed blocks; for use in a transaction, as it reads no page that may be damaged. */
  view(series: Series): SeriesView {
    let view = this.views.get(series.id);
    if (view === undefined) view = { series, rows: [], levels: new Levels(series.members.length), filled: 0 };
    view.rows.push(...this.blocks.blocksAfter(series.id, view.rows.at(-1)?.id ?? 0));
    this.views.delete(series.id);
    this.views.set(series.id, view);
    return view;
  }

  /** Reads the pyramids of blocks that are new, and lets go of what there is no room for. */
  fill(view: SeriesView): void {
    const { levels, rows, series } = view;
    for (; view.filled < rows.length; view.filled++) {
      const base = this.blocks.base(rows[view.filled]!, series.members.length);
      if (base !== null) levels.add(base);
    }
    levels.shrinkTo(this.limit / 2);
    let bytes = 0;
    for (const other of this.views.values()) bytes += other.levels.bytes;
    for (const [id, old] of this.views) {
      if (bytes <= this.limit || old === view) break;
      bytes -= old.levels.bytes;
      this.views.delete(id);
    }
  }

  forget(): void {
    this.views.clear();
  }
}

/** See `Store.zoom`. */
export function zoom(
  blocks: BlockTables,
  cache: ZoomCache,
  channels: readonly ZoomedChannel[],
  fromMs: number,
  toMs: number,
  buckets: number,
): Buckets[] {
  if (!Number.isInteger(buckets) || buckets < 1 || !(fromMs <= toMs)) throw new RangeError('no such buckets');
  const views = new Set(channels.flatMap((c) => c.in.map(({ view }) => view)));
  for (const view of views) cache.fill(view);
  const out = channels.map((channel): Buckets | BucketSet => {
    const few = samplesIfFew(blocks, channel, fromMs, toMs, buckets);
    if (few !== null) return bucketsOf(few, fromMs, toMs, buckets);
    const set = new BucketSet(fromMs, toMs, buckets);
    if (channel.open !== undefined) set.addSamples(channel.open);
    return set;
  });
  for (const view of views) {
    const places: number[] = [];
    const sets: BucketSet[] = [];
    channels.forEach((channel, k) => {
      const place = channel.in.find((x) => x.view === view)?.place;
      const set = out[k]!;
      if (place === undefined || !(set instanceof BucketSet)) return;
      places.push(place);
      sets.push(set);
    });
    const spans: Span[] = [];
    view.levels.collect(places, sets, spans);
    for (const row of touching(view.rows, spans)) {
      const block = blocks.block(row.id);
      if (block !== null) sets.forEach((set, k) => set.addSamples(columnsAt(block, places[k]!)));
    }
  }
  return out.map((x) => (x instanceof BucketSet ? x.result() : x));
}

/** The samples of the window where its live ones may be no more than `enough`; null where they surely are more. */
function samplesIfFew(
  blocks: BlockTables,
  { in: places, open }: ZoomedChannel,
  fromMs: number,
  toMs: number,
  enough: number,
): SampleColumns | null {
  const rows: { readonly row: BlockRow; readonly place: number }[] = [];
  for (const { view, place } of places) {
    const spans = view.levels.spansIfFew(place, fromMs, toMs, enough);
    if (spans === null) return null;
    for (const row of touching(view.rows, spans)) rows.push({ row, place });
  }
  const found = new ColumnBuilder(4096);
  const take = ({ length, t, counts, scale, flags }: SampleColumns): void => {
    for (let i = 0; i < length; i++)
      if (t[i]! >= fromMs && t[i]! <= toMs && isLive(flags[i]!))
        found.push(t[i]!, counts[i]!, scale[i]!, flags[i]!);
  };
  for (const { row, place } of rows.sort((a, b) => a.row.id - b.row.id)) {
    const block = blocks.block(row.id);
    if (block !== null) take(columnsAt(block, place));
    if (found.length > enough) return null;
  }
  if (open !== undefined) take(open);
  return found.length > enough ? null : found.columns();
}

/** The blocks that touch any of the stretches of time. */
function touching(rows: readonly BlockRow[], spans: readonly Span[]): BlockRow[] {
  const merged: Span[] = [];
  for (const [from, to] of spans.toSorted((a, b) => a[0] - b[0])) {
    const before = merged.at(-1);
    if (before !== undefined && before[1] >= from) before[1] = Math.max(before[1], to);
    else merged.push([from, to]);
  }
  const [first, last] = [merged[0]?.[0] ?? Infinity, merged.at(-1)?.[1] ?? -Infinity];
  return rows.filter((row) => {
    if (row.toMs < first || row.fromMs > last) return false;
    let [low, high] = [0, merged.length];
    while (low < high) {
      const middle = (low + high) >>> 1;
      if (merged[middle]![1] < row.fromMs) low = middle + 1;
      else high = middle;
    }
    return low < merged.length && merged[low]![0] <= row.toMs;
  });
}
