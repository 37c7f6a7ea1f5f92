import type Database from 'better-sqlite3';
import type { Gap } from '../messages/records.ts';
import { joinColumns, type SampleColumns } from '../samples/columns.ts';
import { columnsAt, type Instants } from '../samples/instants.ts';
import { shareEqualTimes, shareTimes, sliceInstants } from '../samples/merge.ts';
import { blockTables, type BlockRow, type BlockTables } from './blocks.ts';
import { Outside } from './outside.ts';
import { seriesTable, type SeriesTable } from './series.ts';
import { Tails } from './tails.ts';
import { ZoomCache, type ZoomedChannel } from './zoom.ts';

/** Instants in a closed block. */
export const BLOCK_INSTANTS = 8192;

/**
 * Samples live in two tables: closed blocks of BLOCK_INSTANTS, and an open tail with one small block for each
 * commit and meter. When a meter's tail is long enough, it is folded into closed blocks in the same transaction.
 */
export class SampleTables {
  readonly blocks: BlockTables;
  readonly series: SeriesTable;
  readonly tails: Tails;
  readonly pyramids: ZoomCache;
  private readonly outside: Outside;
  private readonly countUp;
  private readonly channels;
  /** The meters of the channels of recordings that were written to. */
  private readonly meters = new Map<string, Map<number, string>>();
  private metersVersion = -1;
  /** Closed blocks never change, so each needs its checksum looked at once. */
  private checked = new Map<number, { upTo: number; damaged: BlockRow[] }>();

  constructor(db: Database.Database) {
    this.outside = new Outside(db);
    this.blocks = blockTables(db);
    this.series = seriesTable(db, this.outside);
    this.tails = new Tails(db, this.outside, this.blocks);
    this.channels = db.prepare<[string], { id: number; meterKey: string }>(
      'SELECT id, meter_key AS meterKey FROM channels WHERE recording_id = ? ORDER BY id',
    );
    this.pyramids = new ZoomCache(this.blocks);
    this.countUp = db.prepare(
      'UPDATE channels SET samples = samples + ?, last_ms = max(last_ms, ?) WHERE id = ?',
    );
  }

  /** Runs a transaction; when it fails, what it undid is forgotten here too. */
  undoing<T>(transaction: () => T): T {
    try {
      return transaction();
    } catch (error) {
      this.blocks.forget();
      this.outside.undone();
      this.pyramids.forget();
      this.checked = new Map();
      throw error;
    }
  }

  /** The meter of each channel of a recording that is there, at least of `channelIds` where they are its channels. */
  metersOf(recordingId: string, channelIds: readonly number[]): ReadonlyMap<number, string> {
    const version = this.outside.version();
    if (version !== this.metersVersion) this.meters.clear();
    this.metersVersion = version;
    let known = this.meters.get(recordingId);
    if (known === undefined || channelIds.some((id) => !known!.has(id))) {
      known = new Map(this.channels.all(recordingId).map((c) => [c.id, c.meterKey]));
      this.meters.set(recordingId, known);
    }
    return known;
  }

  /** To be called when a recording is removed. */
  forgetRecording(recordingId: string): void {
    this.meters.delete(recordingId);
  }

  /** @throws RangeError for a value that is not finite */
  append(recordingId: string, meterKey: string, added: ReadonlyMap<number, SampleColumns>): void {
    const open = this.tails.channelsOf(recordingId);
    const waits = (channelId: number) => open.get(channelId)?.samples.length ?? 0;
    const full = [...added].some(([id, columns]) => waits(id) + columns.length >= BLOCK_INSTANTS);
    if (full) this.fold(recordingId, meterKey, added, false);
    else this.appendTail(recordingId, meterKey, added);
  }

  /** Brings all that is open into closed blocks, however short. */
  closeAll(recordingId: string): void {
    const meters = new Set(this.tails.rowsOf(recordingId).map((row) => row.meterKey));
    for (const meterKey of meters) this.fold(recordingId, meterKey, new Map(), true);
  }

  private appendTail(recordingId: string, meterKey: string, added: ReadonlyMap<number, SampleColumns>): void {
    const ids = [...added.keys()];
    for (const { members, instants } of shareEqualTimes([...added.values()])) {
      const channels = members.map((k) => ids[k]!);
      const row = this.blocks.appendTail(this.series.idOf(recordingId, meterKey, channels), instants);
      this.tails.add(row, { recordingId, meterKey, members: channels }, instants);
    }
  }

  private fold(
    recordingId: string,
    meterKey: string,
    added: ReadonlyMap<number, SampleColumns>,
    whole: boolean,
  ): void {
    const open = this.tails.channelsOf(recordingId);
    const rows = this.tails.rowsOf(recordingId).filter((row) => row.meterKey === meterKey);
    const ids = [...new Set([...rows.flatMap((row) => row.members), ...added.keys()])].sort((a, b) => a - b);
    const all = ids.map((id) => {
      const [before, now] = [open.get(id)?.samples.columns(), added.get(id)];
      return before === undefined ? now! : now === undefined ? before : joinColumns([before, now]);
    });
    for (const row of rows) if (row.damaged) this.blocks.closeDamaged(row);
    this.tails.remove(recordingId, meterKey);
    const rest = new Map<number, SampleColumns>();
    for (const { members, instants } of shareTimes(all)) {
      const channels = members.map((k) => ids[k]!);
      const seriesId = this.series.idOf(recordingId, meterKey, channels);
      let at = 0;
      for (; at + BLOCK_INSTANTS <= instants.length || (whole && at < instants.length); at += BLOCK_INSTANTS)
        this.close(
          seriesId,
          channels,
          sliceInstants(instants, at, Math.min(at + BLOCK_INSTANTS, instants.length)),
        );
      if (at >= instants.length) continue;
      const left = sliceInstants(instants, at, instants.length);
      channels.forEach((id, c) => rest.set(id, columnsAt(left, c)));
    }
    this.appendTail(recordingId, meterKey, rest);
  }

  private close(seriesId: number, channels: readonly number[], instants: Instants): void {
    const { toMs } = this.blocks.close(seriesId, instants);
    channels.forEach((id, c) => {
      const { rows, counts } = instants.channels[c]!;
      if (counts.length === 0) return;
      let lastMs = toMs;
      if (rows !== null) {
        lastMs = -Infinity;
        for (const row of rows) lastMs = Math.max(lastMs, instants.t[row]!);
      }
      this.countUp.run(counts.length, lastMs, id);
    });
  }

  /**
   * Blocks of a channel that touch [fromMs, toMs], then what is open, in the order in which they were recorded.
   * `isAlone` decodes this channel only; else those beside it are at hand for who reads them next.
   */
  parts(
    recordingId: string,
    channelId: number,
    [fromMs, toMs]: readonly [number, number],
    isAlone: boolean,
  ): Iterable<SampleColumns> {
    const of = this.series.with(channelId);
    const rows = of.flatMap((s) => this.blocks.blocksIn(s.id, fromMs, toMs)).sort((a, b) => a.id - b.id);
    const placeIn = new Map(of.map((s) => [s.id, s.members.indexOf(channelId)]));
    const open = this.tails.channelsOf(recordingId).get(channelId)?.samples.columns();
    const read = ({ id, seriesId }: BlockRow): SampleColumns | null => {
      const place = placeIn.get(seriesId)!;
      if (isAlone) return this.blocks.channelOf(id, place);
      const block = this.blocks.block(id);
      return block === null ? null : columnsAt(block, place);
    };
    return decoded(rows, read, open);
  }

  /** What `zoom` needs to know of a channel. */
  zoomed(recordingId: string, channelId: number): ZoomedChannel {
    return {
      in: this.series
        .with(channelId)
        .map((series) => ({ view: this.pyramids.view(series), place: series.members.indexOf(channelId) })),
      open: this.tails.channelsOf(recordingId).get(channelId)?.samples.view(),
    };
  }

  /** Spans whose samples cannot be read any more. */
  damaged(recordingId: string): Gap[] {
    const all = this.series.of(recordingId);
    const gaps: Gap[] = [];
    const report = (row: BlockRow, members: readonly number[]) => {
      for (const channelId of members)
        gaps.push({ channelId, startMs: row.fromMs, endMs: row.toMs, reason: 'damaged' });
    };
    for (const series of all) {
      const known = this.checked.get(series.id) ?? { upTo: 0, damaged: [] };
      const fresh = this.blocks.blocksAfter(series.id, known.upTo);
      const damaged = [...known.damaged, ...fresh.filter((row) => !this.blocks.isBlockIntact(row.id))];
      this.checked.set(series.id, { upTo: fresh.at(-1)?.id ?? known.upTo, damaged });
      for (const row of damaged) report(row, series.members);
    }
    for (const row of this.tails.rowsOf(recordingId)) if (row.damaged) report(row, row.members);
    return gaps;
  }
}

function* decoded(
  rows: readonly BlockRow[],
  read: (row: BlockRow) => SampleColumns | null,
  open: SampleColumns | undefined,
): Generator<SampleColumns> {
  for (const row of rows) {
    const columns = read(row);
    if (columns !== null) yield columns;
  }
  if (open !== undefined) yield open;
}
