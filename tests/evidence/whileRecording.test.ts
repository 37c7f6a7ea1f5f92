import { appendFileSync, readdirSync, readFileSync, writeFileSync } from 'node:fs';
import Database from 'better-sqlite3';
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import path from 'node:path';
import { afterEach, beforeEach, describe, expect, test } from 'vitest';
import { readHead } from '../../server/evidence/heads.ts';
import { consistencyPath, isConsistent } from '../../server/evidence/merkle.ts';
import { unhex } from '../../server/evidence/octets.ts';
import { verifyBundle } from '../../server/evidence/verify.ts';
import { nodeChecker } from '../../server/sealing/checker.ts';
import { logFile, readLog } from '../../server/sealing/headLog.ts';
import { noteIssued } from '../../server/sealing/issued.ts';
import { replaceKey, signerIn } from '../../server/sealing/keyFile.ts';
import { nightBlocks } from '../../server/sealing/nightBlocks.ts';
import { sealingStore } from '../../server/sealing/sealingStore.ts';
import { faultsOfLog } from '../../server/sealing/sealNight.ts';
import { openStore } from '../../server/store/openStore.ts';
import type { Store } from '../../server/store/store.ts';
import { recordMinutes, startNight, type NightClock } from '../helpers/nightBeingSealed.ts';
import { SEALED_AT, sealedOctets, VERSION } from '../helpers/sealedNight.ts';

const START = Date.UTC(2026, 2, 1, 20);
const MINUTE = 60_000;

let data: string;
let clock: NightClock;
let troubles: string[];
let store: Store;
let id: string;

function open(): Store {
  return sealingStore(openStore(path.join(data, 'nightdraw.db')), {
    data,
    signer: signerIn(data),
    utcMs: () => clock.utcMs,
    onTrouble: (sentence) => void troubles.push(sentence),
  });
}

beforeEach(() => {
  data = mkdtempSync(path.join(tmpdir(), 'nightdraw-sealing-'));
  clock = { startMs: START, utcMs: START };
  troubles = [];
  store = open();
  id = startNight(store, START);
});
afterEach(() => {
  store.close();
  rmSync(data, { recursive: true });
});

function record(minutes: number, into = store): void {
  recordMinutes(into, id, clock, minutes);
}

const log = () => readLog(logFile(data, id));
const faults = () => [...nightBlocks(store, id, log()).faults, ...faultsOfLog(data, id)];
const hashes = () => log().leaves.map((l) => unhex(l.leaf.hash));
const bundle = () =>
  sealedOctets(store, id, {
    data,
    signer: signerIn(data),
    version: VERSION,
    sealedAt: SEALED_AT,
    without: [],
  });
const edit = (sql: string) => {
  store.close();
  const db = new Database(path.join(data, 'nightdraw.db'));
  expect(db.prepare(sql).run().changes).toBeGreaterThan(0);
  db.close();
  store = open();
};

test('a head is signed at least every 10 minutes, and the stop is sealed', () => {
  record(65);
  store.stopRecording(id, 65 * MINUTE);
  const heads = log().heads.map((line) => readHead(line, nodeChecker));
  const times = [START, ...heads.map((h) => Date.parse(h.at))];
  for (let i = 1; i < times.length; i++) expect(times[i]! - times[i - 1]!).toBeLessThanOrEqual(10 * MINUTE);
  expect(times.at(-1)).toBe(clock.utcMs);
  expect(faults()).toEqual([]);
  const { leaves, fresh } = nightBlocks(store, id, log());
  expect(leaves.length).toBeGreaterThan(7);
  expect(fresh).toEqual([]);
});

test('any two heads of the log are consistent (RFC 6962, section 2.1.2)', () => {
  record(65);
  store.stopRecording(id, 65 * MINUTE);
  const heads = log().heads.map((line) => readHead(line, nodeChecker));
  const treeHead = (h: (typeof heads)[number]) => ({ size: h.size, root: unhex(h.root) });
  for (const later of heads)
    for (const earlier of heads.filter((h) => h.size <= later.size)) {
      const proof = consistencyPath(earlier.size, hashes().slice(0, later.size), nodeChecker.sha256);
      expect(isConsistent(treeHead(earlier), treeHead(later), proof, nodeChecker.sha256)).toBe(true);
    }
});

test('the bundle has the blocks that were sealed while recording, its heads, and all samples', () => {
  record(25);
  replaceKey(data);
  store.stopRecording(id, 25 * MINUTE);
  const found = verifyBundle(bundle(), nodeChecker);
  expect(found).toMatchObject({ status: 'intact', faults: [] });
  expect(found.statement!.heads).toBe(log().heads.length);
  expect(found.statement!.tree.leaves.map((l) => l.hash)).toEqual(log().leaves.map((l) => l.leaf.hash));
  const { channels } = store.getRecording(id);
  expect(found.contents!.columns).toEqual(channels.map((c) => store.readSamples(c.id)));
});

describe('a crash', () => {
  test('leaves what was signed, and the recording is sealed on when it goes on', () => {
    record(25);
    const before = log();
    expect(before.heads.length).toBe(2);
    // Another process takes over without the first having closed anything.
    clock.utcMs += 3 * MINUTE;
    const next = open();
    record(10, next);
    next.stopRecording(id, clock.utcMs - START);
    expect(log().heads.slice(0, 2)).toEqual(before.heads);
    expect(faults()).toEqual([]);
    expect(nightBlocks(next, id, log()).fresh).toEqual([]);
    next.close();
  });

  test('in the middle of a line of the log costs that line only', () => {
    record(25);
    const whole = readFileSync(logFile(data, id), 'utf8');
    appendFileSync(logFile(data, id), '{"leaf":{"coun');
    expect(readLog(logFile(data, id)).heads).toHaveLength(2);
    const next = open();
    record(10, next);
    next.stopRecording(id, clock.utcMs - START);
    expect(readFileSync(logFile(data, id), 'utf8').startsWith(whole)).toBe(true);
    expect(faults()).toEqual([]);
    next.close();
  });
});

describe('a later edit shows:', () => {
  beforeEach(() => {
    record(25);
    store.stopRecording(id, 25 * MINUTE);
    expect(faults()).toEqual([]);
  });

  test('an event whose text was changed', () => {
    edit("UPDATE events SET text = 'nothing' WHERE text = 'note 300'");
    expect(faults()).toEqual(['The event at 300 s (note) is not in the database as it was sealed.']);
    expect(bundle).toThrow(/changed after it was sealed/);
  });

  test('samples that were changed, with the block and its time', () => {
    const real = openStore(path.join(data, 'nightdraw.db'));
    const changed: Store = {
      ...real,
      partsOf(channelId) {
        const columns = real.readSamples(channelId);
        columns.counts[7000]! += 1;
        return [columns];
      },
    };
    const { faults: found } = nightBlocks(changed, id, log());
    expect(found).toHaveLength(1);
    expect(found[0]).toBe('Block 3, from 550 s to 1089.9 s after the start, is not what was sealed.');
    real.close();
  });

  test('a head that was taken out of the log, or replaced by an older one', () => {
    const lines = readFileSync(logFile(data, id), 'utf8').trimEnd().split('\n');
    const heads = lines.filter((l) => l.startsWith('{"head"'));
    const write = (kept: readonly string[]) =>
      writeFileSync(logFile(data, id), kept.map((l) => `${l}\n`).join(''));
    write(lines.filter((l) => l !== heads[0]));
    expect(faults()).not.toEqual([]);
    write(lines.map((l) => (l === heads[1] ? heads[0]! : l)));
    expect(faults()).not.toEqual([]);
    write(lines.map((l) => (l === heads[1] ? l.replace('"size":', '"size":1') : l)));
    expect(faults()).not.toEqual([]);
    write(lines);
    expect(faults()).toEqual([]);
  });
});

test('a seal that cannot be written does not stop the recording, and is made up for', () => {
  writeFileSync(path.join(data, 'seals'), 'in the way');
  record(21);
  expect(troubles).toHaveLength(1);
  rmSync(path.join(data, 'seals'));
  record(1);
  expect(log().heads).toHaveLength(1);
  store.stopRecording(id, 22 * MINUTE);
  expect(faults()).toEqual([]);
});

test('a deleted recording leaves neither its seals nor the list of its bundles', () => {
  record(1);
  store.stopRecording(id, MINUTE);
  noteIssued(data, id, { at: SEALED_AT, sha256: 'ab'.repeat(32), without: [] });
  expect(readdirSync(path.join(data, 'seals')).sort()).toEqual([`${id}.bundles.jsonl`, `${id}.jsonl`]);
  store.deleteRecording(id);
  expect(readdirSync(path.join(data, 'seals'))).toEqual([]);
});
