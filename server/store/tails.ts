import type Database from 'better-sqlite3';
import { ColumnBuilder } from '../samples/builder.ts';
import { columnsAt, type Instants } from '../samples/instants.ts';
import type { BlockRow, BlockTables } from './blocks.ts';
import type { Outside } from './outside.ts';

/** What one recording has open, by channel and by row. */
interface Open {
  readonly channels: Map<number, OpenChannel>;
  rows: TailRow[];
}

export interface OpenChannel {
  readonly samples: ColumnBuilder;
  lastMs: number;
}

export interface TailRow extends BlockRow {
  readonly meterKey: string;
  readonly members: readonly number[];
  readonly damaged: boolean;
}

interface SeriesFacts {
  readonly recordingId: string;
  readonly meterKey: string;
  readonly members: readonly number[];
}

/**
 * The open tails, decoded once and kept in memory; rows of this process are added as they are written. When another
 * process has written to the database, everything is read anew.
 */
export class Tails {
  private readonly seriesById;
  private version = -1;
  private readonly open = new Map<string, Open>();

  constructor(
    db: Database.Database,
    private readonly outside: Outside,
    private readonly blocks: BlockTables,
  ) {
    this.seriesById = db.prepare<[number], { recordingId: string; meterKey: string; members: string }>(
      'SELECT recording_id AS recordingId, meter_key AS meterKey, members FROM series WHERE id = ?',
    );
  }

  channelsOf(recordingId: string): ReadonlyMap<number, OpenChannel> {
    this.catchUp();
    return this.open.get(recordingId)?.channels ?? new Map<number, OpenChannel>();
  }

  rowsOf(recordingId: string): readonly TailRow[] {
    this.catchUp();
    return this.open.get(recordingId)?.rows ?? [];
  }

  /** Takes over a row that was just written, after a look at the same version. */
  add(row: BlockRow, series: SeriesFacts, instants: Instants): void {
    this.take(row, series, instants);
  }

  /** Removes the rows of a meter, which were folded. */
  remove(recordingId: string, meterKey: string): void {
    this.catchUp();
    const open = this.open.get(recordingId);
    if (open === undefined) return;
    const gone = open.rows.filter((row) => row.meterKey === meterKey);
    for (const row of gone) {
      this.blocks.removeTail(row.id);
      for (const id of row.members) open.channels.delete(id);
    }
    open.rows = open.rows.filter((row) => row.meterKey !== meterKey);
  }

  private catchUp(): void {
    const version = this.outside.version();
    if (version === this.version) return;
    this.open.clear();
    this.version = version;
    const facts = new Map<number, SeriesFacts>();
    for (const row of this.blocks.tails()) {
      let series = facts.get(row.seriesId);
      if (series === undefined) {
        const found = this.seriesById.get(row.seriesId)!;
        series = { ...found, members: JSON.parse(found.members) as number[] };
        facts.set(row.seriesId, series);
      }
      this.take(row, series, this.blocks.tail(row.id));
    }
  }

  private take(
    row: BlockRow,
    { recordingId, meterKey, members }: SeriesFacts,
    instants: Instants | null,
  ): void {
    let open = this.open.get(recordingId);
    if (open === undefined) this.open.set(recordingId, (open = { channels: new Map(), rows: [] }));
    open.rows.push({ ...row, meterKey, members, damaged: instants === null });
    if (instants === null) return;
    members.forEach((id, c) => {
      let channel = open.channels.get(id);
      if (channel === undefined)
        open.channels.set(id, (channel = { samples: new ColumnBuilder(64), lastMs: -Infinity }));
      const own = columnsAt(instants, c);
      channel.samples.append(own);
      let last = channel.lastMs;
      for (let i = 0; i < own.length; i++) if (own.t[i]! > last) last = own.t[i]!;
      channel.lastMs = last;
    });
  }
}
