import { mkdirSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import path from 'node:path';
import Database from 'better-sqlite3';
import { afterEach, beforeEach, describe, expect, test } from 'vitest';
import { NightdrawError } from '../../server/messages/errors.ts';
import { idSchema } from '../../server/messages/records.ts';
import { columnsOf } from '../../server/samples/columns.ts';
import { newId } from '../../server/store/ids.ts';
import { APPLICATION_ID, migrate, MIGRATIONS } from '../../server/store/migrations.ts';
import { openStore, storeOn } from '../../server/store/openStore.ts';
import { codeOf, NIGHT, stepOf } from '../contract/store.ts';

let folder: string;
beforeEach(() => (folder = mkdtempSync(path.join(tmpdir(), 'nightdraw-open-'))));
afterEach(() => rmSync(folder, { recursive: true }));

const at = (...parts: string[]) => path.join(folder, ...parts);

function sentenceOf(work: () => unknown): string {
  try {
    work();
  } catch (error) {
    if (error instanceof NightdrawError) return error.message;
    throw error;
  }
  return 'done';
}

describe('opening', () => {
  test('makes folder and file, and finds everything again', () => {
    const file = at('a', 'b', 'nightdraw.db');
    const store = openStore(file);
    const { id, channels } = store.createRecording(NIGHT);
    const columns = columnsOf([0, 100.5], [25, 26], [-3, -3], [0, 0]);
    store.commit({
      ...stepOf(id, channels[0]!.id, columns),
      batch: { meterKey: 'page:a', number: 1 },
    });
    store.close();
    const again = openStore(file);
    expect(again.readSamples(channels[0]!.id)).toEqual(columns);
    expect(again.getRecording(id)).toMatchObject({ state: 'recording', durationMs: 100.5 });
    expect(again.lastBatch(id, 'page:a')).toBe(1);
    again.close();
  });

  test('twice at once lets one write while the other reads', () => {
    const writer = openStore(at('nightdraw.db'));
    const reader = openStore(at('nightdraw.db'));
    const { id, channels } = writer.createRecording(NIGHT);
    for (let i = 0; i < 50; i++) writer.commit(stepOf(id, channels[0]!.id, columnsOf([i], [i], [-3], [0])));
    expect(reader.readSamples(channels[0]!.id).length).toBe(50);
    reader.createRecording(NIGHT);
    expect(writer.listRecordings()).toHaveLength(2);
    writer.close();
    reader.close();
  });

  test('writes ahead, and waits for the disk at each commit', () => {
    const db = new Database(at('nightdraw.db'));
    storeOn(db);
    expect(db.pragma('journal_mode', { simple: true })).toBe('wal');
    expect(db.pragma('synchronous', { simple: true })).toBe(2); // FULL
    expect(db.pragma('foreign_keys', { simple: true })).toBe(1);
    expect(db.pragma('application_id', { simple: true })).toBe(APPLICATION_ID);
    expect(db.pragma('user_version', { simple: true })).toBe(MIGRATIONS.length);
    db.close();
  });

  test.each([
    ['a text file', (file: string) => writeFileSync(file, 'dear diary, '.repeat(100)), /not a Nightdraw/],
    [
      "another program's database",
      (file: string) => {
        const db = new Database(file);
        db.exec('CREATE TABLE recipes (name TEXT)');
        db.close();
      },
      /another program/,
    ],
    [
      'a database of the future',
      (file: string) => {
        openStore(file).close();
        const db = new Database(file);
        db.pragma(`user_version = ${MIGRATIONS.length + 1}`);
        db.close();
      },
      /newer Nightdraw/,
    ],
    ['a folder', (file: string) => mkdirSync(file), /cannot be opened/],
  ])('%s is refused in one sentence and left as it is', (_, make, sentence) => {
    const file = at('nightdraw.db');
    make(file);
    expect(codeOf(() => openStore(file))).toBe('store-failed');
    expect(sentenceOf(() => openStore(file))).toMatch(sentence);
  });

  test('a folder that cannot be made is named', () => {
    writeFileSync(at('plain'), '');
    expect(sentenceOf(() => openStore(at('plain', 'nightdraw.db')))).toContain(at('plain'));
  });
});

describe('migrations', () => {
  const STEPS = [
    'CREATE TABLE a (x INTEGER)',
    'ALTER TABLE a ADD COLUMN y INTEGER; UPDATE a SET y = x * 2',
    'CREATE TABLE b (z INTEGER)',
  ];

  test.each([0, 1, 2, 3])('bring a database of version %d to the newest', (version) => {
    const db = new Database(at('m.db'));
    migrate(db, STEPS.slice(0, version));
    if (version === 1) db.exec('INSERT INTO a VALUES (21)');
    migrate(db, STEPS);
    expect(db.pragma('user_version', { simple: true })).toBe(3);
    const columns = (db.pragma('table_info(a)') as { name: string }[]).map((c) => c.name);
    expect(columns).toEqual(['x', 'y']);
    if (version === 1) expect(db.prepare('SELECT y FROM a').pluck().get()).toBe(42);
    db.close();
  });

  test('keep a step whole: a failing one leaves the version before it', () => {
    const db = new Database(at('m.db'));
    expect(() => migrate(db, [STEPS[0]!, 'CREATE TABLE c (x); CREATE TABLE a (x)'])).toThrow(
      /already exists/,
    );
    expect(db.pragma('user_version', { simple: true })).toBe(1);
    expect(db.prepare(`SELECT name FROM sqlite_schema`).pluck().all()).toEqual(['a']);
    db.close();
  });
});

test('ids are in the form that messages ask for, and differ', () => {
  const ids = Array.from({ length: 2000 }, newId);
  expect(new Set(ids).size).toBe(2000);
  for (const id of ids) expect(idSchema.safeParse(id).success).toBe(true);
});
