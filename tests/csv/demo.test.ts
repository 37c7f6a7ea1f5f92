import { cpSync, mkdirSync, mkdtempSync, readdirSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import path from 'node:path';
import { afterEach, beforeEach, expect, test } from 'vitest';
import { importDemoNights } from '../../server/capture/demo.ts';
import { memoryStore } from '../helpers/memoryStore.ts';
import { codeOf } from '../contract/store.ts';
import { openStore } from '../../server/store/openStore.ts';
import type { Store } from '../../server/store/store.ts';

const RECORDINGS = path.resolve(import.meta.dirname, '../../recordings');

let folder: string;
let store: Store;
beforeEach(() => {
  folder = mkdtempSync(path.join(tmpdir(), 'nightdraw-demo-'));
  store = memoryStore();
});
afterEach(() => rmSync(folder, { recursive: true }));

const NIGHT = 'time_s,current_A\n0,0.025\n1,0.026\n';
const CASE = { title: 'A car', complaint: 'flat', startedAt: '2026-01-05T21:13:01.000Z' };

function writeNight(name: string, night = NIGHT, theCase: unknown = CASE): void {
  mkdirSync(path.join(folder, name));
  writeFileSync(path.join(folder, name, 'night.csv.gz'), night);
  writeFileSync(path.join(folder, name, 'case.json'), JSON.stringify(theCase));
}

test('each night becomes a demo case with its recording, once', () => {
  writeNight('b');
  writeNight('a');
  mkdirSync(path.join(folder, 'not-a-night'));
  const ids = importDemoNights(store, folder);
  expect(ids).toHaveLength(2);
  expect(store.listCases()).toMatchObject(
    Array(2).fill({ title: 'A car', complaint: 'flat', demo: true, recordings: 1 }),
  );
  const recording = store.getRecording(ids[0]!);
  expect(recording).toMatchObject({ startedAt: CASE.startedAt, state: 'stopped', durationMs: 1000 });
  expect(recording.provenance).toContain('"a"');
  expect(importDemoNights(store, folder)).toEqual([]);
  expect(store.listRecordings()).toHaveLength(2);
});

test('a demo that was deleted does not come back; a new one does', () => {
  writeNight('a');
  const [id] = importDemoNights(store, folder);
  store.deleteRecording(id!);
  store.deleteCase(store.listCases()[0]!.id);
  writeNight('b');
  expect(importDemoNights(store, folder)).toHaveLength(1);
  expect(store.listCases()).toHaveLength(1);
});

test('a night that cannot be read leaves nothing of itself', () => {
  writeNight('a', 'time_s,current_A\n0,x\n');
  expect(codeOf(() => importDemoNights(store, folder))).toBe('unreadable-file');
  expect(store.listCases()).toEqual([]);
  expect(store.readSetting('demo-night:a')).toBeNull();
});

test('a folder without nights, or none at all, is nothing to say', () => {
  expect(importDemoNights(store, folder)).toEqual([]);
  expect(importDemoNights(store, path.join(folder, 'none'))).toEqual([]);
});

test('the nights that ship are all read', () => {
  const nights = readdirSync(RECORDINGS, { withFileTypes: true }).filter((entry) => entry.isDirectory());
  expect(nights.length).toBeGreaterThanOrEqual(3);
  for (const { name } of nights)
    cpSync(path.join(RECORDINGS, name), path.join(folder, name), { recursive: true });
  const real = openStore(path.join(folder, 'nightdraw.db'));
  const ids = importDemoNights(real, folder);
  expect(ids).toHaveLength(nights.length);
  for (const id of ids) expect(real.getRecording(id).channels.every((c) => c.samples > 1000)).toBe(true);
  real.close();
});
