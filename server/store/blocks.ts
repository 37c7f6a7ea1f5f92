import type Database from 'better-sqlite3';
import { BlockError } from '../samples/block.ts';
import type { SampleColumns } from '../samples/columns.ts';
import {
  columnsAt,
  decodeChannel,
  decodeInstants,
  encodeInstants,
  FEW_IN_A_HURRY,
  instantsInfo,
  spanOf,
  type Instants,
} from '../samples/instants.ts';
import { baseOf, decodeBase, encodeBase, type Base } from '../samples/pyramid.ts';

/** A row of the closed blocks or of the open tail, without its bytes. */
export interface BlockRow {
  readonly id: number;
  readonly seriesId: number;
  readonly count: number;
  readonly fromMs: number;
  readonly toMs: number;
}

/** So many decoded blocks are kept for the next look at the same hour. */
const KEPT = 24;

/**
 * Closed blocks and the open tail as rows: what is damaged comes back as null, never as data. Rows of the tail have
 * the order in which they were committed; so have closed blocks.
 */
export function blockTables(db: Database.Database) {
  const columns = 'id, series_id AS seriesId, count, from_ms AS fromMs, to_ms AS toMs';
  const insertBlock = db.prepare(
    'INSERT INTO blocks (series_id, count, from_ms, to_ms, pyramid, bytes) VALUES (?, ?, ?, ?, ?, ?)',
  );
  const insertTail = db.prepare(
    'INSERT INTO tails (series_id, count, from_ms, to_ms, bytes) VALUES (?, ?, ?, ?, ?)',
  );
  const blocksAfter = db.prepare<[number, number], BlockRow>(
    `SELECT ${columns} FROM blocks WHERE series_id = ? AND id > ? ORDER BY id`,
  );
  const blocksIn = db.prepare<[number, number, number], BlockRow>(
    `SELECT ${columns} FROM blocks WHERE series_id = ? AND to_ms >= ? AND from_ms <= ? ORDER BY id`,
  );
  // The tail is short, and an index would cost a page at each commit.
  const tails = db.prepare<[], BlockRow>(`SELECT ${columns} FROM tails ORDER BY id`);
  const removeTail = db.prepare('DELETE FROM tails WHERE id = ?');
  const bytesOfBlock = db.prepare<[number], Buffer>('SELECT bytes FROM blocks WHERE id = ?').pluck();
  const bytesOfTail = db.prepare<[number], Buffer>('SELECT bytes FROM tails WHERE id = ?').pluck();
  const pyramidOf = db.prepare<[number], Buffer | null>('SELECT pyramid FROM blocks WHERE id = ?').pluck();
  const kept = new Map<number, Instants>();

  const readable = (get: () => Buffer | null | undefined): Buffer | null => {
    try {
      return get() ?? null;
    } catch (error) {
      // The database's own pages are damaged there.
      if ((error as { code?: string }).code?.startsWith('SQLITE_CORRUPT')) return null;
      throw error;
    }
  };
  const intact = <T>(bytes: Buffer | null, use: (bytes: Uint8Array) => T): T | null => {
    if (bytes === null) return null;
    try {
      return use(bytes);
    } catch (error) {
      if (error instanceof BlockError) return null;
      throw error;
    }
  };
  const blockBytes = (id: number) => readable(() => bytesOfBlock.get(id));
  const tailBytes = (id: number) => readable(() => bytesOfTail.get(id));

  const block = (id: number): Instants | null => {
    const known = kept.get(id);
    if (known !== undefined) return known;
    const decoded = intact(blockBytes(id), decodeInstants);
    if (decoded === null) return null;
    kept.set(id, decoded);
    if (kept.size > KEPT) kept.delete(kept.keys().next().value!);
    return decoded;
  };

  /** The samples of one channel; of a block that is not at hand only these are decoded. */
  const channelOf = (id: number, channel: number): SampleColumns | null => {
    const known = kept.get(id);
    if (known !== undefined) return columnsAt(known, channel);
    return intact(blockBytes(id), (bytes) => decodeChannel(bytes, channel));
  };

  return {
    close(seriesId: number, instants: Instants): { readonly toMs: number } {
      const bytes = encodeInstants(instants);
      const { fromMs, toMs } = spanOf(bytes);
      insertBlock.run(seriesId, instants.length, fromMs, toMs, encodeBase(baseOf(instants)), bytes);
      return { toMs };
    },
    /** A tail row that can no longer be read is kept as it is, so that its span stays known. */
    closeDamaged(row: BlockRow): void {
      const bytes = tailBytes(row.id) ?? Buffer.alloc(0);
      insertBlock.run(row.seriesId, row.count, row.fromMs, row.toMs, null, bytes);
    },
    /** A row of the tail is part of a block within minutes, and shares its page of the disk with others until then. */
    appendTail(seriesId: number, instants: Instants): BlockRow {
      const bytes = encodeInstants(instants, FEW_IN_A_HURRY);
      const { fromMs, toMs } = spanOf(bytes);
      const count = instants.length;
      const id = Number(insertTail.run(seriesId, count, fromMs, toMs, bytes).lastInsertRowid);
      return { id, seriesId, count, fromMs, toMs };
    },
    blocksAfter: (seriesId: number, id: number): BlockRow[] => blocksAfter.all(seriesId, id),
    blocksIn: (seriesId: number, fromMs: number, toMs: number): BlockRow[] =>
      blocksIn.all(seriesId, fromMs, toMs),
    tails: (): BlockRow[] => tails.all(),
    removeTail: (id: number): void => void removeTail.run(id),
    block,
    channelOf,
    tail: (id: number): Instants | null => intact(tailBytes(id), decodeInstants),
    isBlockIntact: (id: number): boolean => intact(blockBytes(id), instantsInfo) !== null,
    /** Null where the block itself cannot be read. */
    base({ id, count }: BlockRow, channels: number): Base | null {
      const stored = readable(() => pyramidOf.get(id));
      // An entry drawn from a broken pyramid would be no data of ours; the block itself then gives it.
      if (stored !== null) {
        try {
          return decodeBase(stored, count, channels);
        } catch (error) {
          if (!(error instanceof RangeError)) throw error;
        }
      }
      const decoded = block(id);
      return decoded === null ? null : baseOf(decoded);
    },
    forget: (): void => kept.clear(),
  };
}

export type BlockTables = ReturnType<typeof blockTables>;
