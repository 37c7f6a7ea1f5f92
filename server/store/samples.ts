import type Database from 'better-sqlite3';
import { BlockError, blockInfo, decodeBlock, encodeBlock } from '../samples/block.ts';
import { joinColumns, sliceColumns, type SampleColumns } from '../samples/columns.ts';
import type { Gap } from '../messages/records.ts';

/**
 * Samples of one channel live in two tables: closed blocks of BLOCK_SAMPLES, and an open tail with one small
 * block for each commit. When the tail is long enough it is folded into closed blocks in the same transaction.
 */
export const BLOCK_SAMPLES = 8192;

interface BlockRow {
  id: number;
  count: number;
  from_ms: number;
  to_ms: number;
}

export interface SampleTables {
  append(channelId: number, columns: SampleColumns): void;
  read(channelId: number, fromMs: number, toMs: number): SampleColumns;
  damaged(channelId: number): Gap[];
}

export function sampleTables(db: Database.Database): SampleTables {
  const insertBlock = db.prepare(
    'INSERT INTO blocks (channel_id, count, from_ms, to_ms, bytes) VALUES (?, ?, ?, ?, ?)',
  );
  const insertTail = db.prepare(
    `INSERT INTO tails (channel_id, number, count, from_ms, to_ms, bytes)
     VALUES (?, (SELECT coalesce(max(number), 0) + 1 FROM tails WHERE channel_id = ?), ?, ?, ?, ?)`,
  );
  const clearTail = db.prepare('DELETE FROM tails WHERE channel_id = ?');
  const tailCount = db
    .prepare<[number], number>('SELECT coalesce(sum(count), 0) FROM tails WHERE channel_id = ?')
    .pluck();
  const countUp = db.prepare(
    'UPDATE channels SET samples = samples + ?, last_ms = max(last_ms, ?) WHERE id = ?',
  );
  const blocks = db.prepare<[number, number, number], BlockRow>(
    `SELECT id, count, from_ms, to_ms FROM blocks
     WHERE channel_id = ? AND to_ms >= ? AND from_ms <= ? ORDER BY id`,
  );
  const blockBytes = db.prepare<[number], Buffer>('SELECT bytes FROM blocks WHERE id = ?').pluck();
  const tails = db.prepare<[number, number, number], BlockRow>(
    `SELECT number AS id, count, from_ms, to_ms FROM tails
     WHERE channel_id = ? AND to_ms >= ? AND from_ms <= ? ORDER BY number`,
  );
  const tailBytes = db
    .prepare<[number, number], Buffer>('SELECT bytes FROM tails WHERE channel_id = ? AND number = ?')
    .pluck();
  /** Closed blocks never change, so each needs its checksum looked at once. */
  const checked = new Map<number, { upTo: number; gaps: Gap[] }>();

  /** The bytes, or null where the database's own pages are damaged there. */
  const bytesOf = (get: () => Buffer | undefined): Buffer | null => {
    try {
      return get() ?? null;
    } catch (error) {
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

  const close = (channelId: number, columns: SampleColumns): void => {
    for (let i = 0; i < columns.length; i += BLOCK_SAMPLES) {
      const bytes = encodeBlock(sliceColumns(columns, i, Math.min(i + BLOCK_SAMPLES, columns.length)));
      const info = blockInfo(bytes);
      insertBlock.run(channelId, info.count, info.fromMs, info.toMs, bytes);
    }
  };

  const fold = (channelId: number): void => {
    const parts: SampleColumns[] = [];
    for (const row of tails.all(channelId, -Infinity, Infinity)) {
      const bytes = bytesOf(() => tailBytes.get(channelId, row.id));
      const columns = intact(bytes, decodeBlock);
      if (columns !== null) parts.push(columns);
      // A damaged one is kept as it is, so that its time range stays known.
      else insertBlock.run(channelId, row.count, row.from_ms, row.to_ms, bytes ?? Buffer.alloc(0));
    }
    close(channelId, joinColumns(parts));
    clearTail.run(channelId);
  };

  const damagedIn = (
    rows: readonly BlockRow[],
    channelId: number,
    get: (id: number) => Buffer | undefined,
  ): Gap[] =>
    rows
      .filter(
        (row) =>
          intact(
            bytesOf(() => get(row.id)),
            blockInfo,
          ) === null,
      )
      .map((row) => ({ channelId, startMs: row.from_ms, endMs: row.to_ms, reason: 'damaged' }));

  return {
    append(channelId, columns) {
      if (columns.length === 0) return;
      const waiting = tailCount.get(channelId)!;
      if (waiting === 0 && columns.length >= BLOCK_SAMPLES) {
        close(channelId, columns);
      } else {
        for (let i = 0; i < columns.length; i += BLOCK_SAMPLES) {
          const bytes = encodeBlock(sliceColumns(columns, i, Math.min(i + BLOCK_SAMPLES, columns.length)));
          const info = blockInfo(bytes);
          insertTail.run(channelId, channelId, info.count, info.fromMs, info.toMs, bytes);
        }
        if (waiting + columns.length >= BLOCK_SAMPLES) fold(channelId);
      }
      const latest = columns.t.reduce((a, b) => Math.max(a, b));
      countUp.run(columns.length, latest, channelId);
    },
    // One transaction: another process must not fold the tail between the two queries.
    read: db.transaction((channelId: number, fromMs: number, toMs: number) => {
      const parts: SampleColumns[] = [];
      const keep = (bytes: Buffer | null) => {
        const columns = intact(bytes, decodeBlock);
        if (columns !== null) parts.push(columns);
      };
      for (const row of blocks.all(channelId, fromMs, toMs)) keep(bytesOf(() => blockBytes.get(row.id)));
      for (const row of tails.all(channelId, fromMs, toMs))
        keep(bytesOf(() => tailBytes.get(channelId, row.id)));
      return joinColumns(parts);
    }),
    damaged: db.transaction((channelId: number) => {
      const known = checked.get(channelId) ?? { upTo: 0, gaps: [] };
      const fresh = blocks.all(channelId, -Infinity, Infinity).filter((row) => row.id > known.upTo);
      const gaps = [...known.gaps, ...damagedIn(fresh, channelId, (id) => blockBytes.get(id))];
      checked.set(channelId, { upTo: fresh.at(-1)?.id ?? known.upTo, gaps });
      const open = tails.all(channelId, -Infinity, Infinity);
      return [...gaps, ...damagedIn(open, channelId, (number) => tailBytes.get(channelId, number))];
    }),
  };
}
