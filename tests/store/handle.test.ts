import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import path from 'node:path';
import { afterAll, describe, expect, test } from 'vitest';
import { watchSettingsSchema } from '../../server/messages/watch.ts';
import { openStore } from '../../server/store/openStore.ts';
import { CASE, codeOf, NIGHT } from '../contract/store.ts';
import { memoryStore } from '../helpers/memoryStore.ts';

const folder = mkdtempSync(path.join(tmpdir(), 'nightdraw-handle-'));
const sqlite = openStore(path.join(folder, 'one.db'));
afterAll(() => {
  sqlite.close();
  rmSync(folder, { recursive: true });
});

const MEASURED = {
  thresholdV: 11.84,
  expandedUncertaintyV: 0.12,
  method: 'logistic',
  tries: 14,
  takenAt: '2026-01-05T21:13:01.500Z',
} as const;

describe.each([
  ['memory', memoryStore],
  ['SQLite', () => sqlite],
])('%s keeps', (_name, make) => {
  const store = make();

  test('how a try at the handle went; an old one has no outcome', () => {
    const { id } = store.createRecording(NIGHT);
    const said = { atMs: 5, kind: 'attempt', text: 'x', value: null, outcome: 'button-only' } as const;
    const old = { atMs: 6, kind: 'attempt', text: 'no answer', value: null } as const;
    store.commit({ recordingId: id, samples: [], gaps: [], events: [said, old], batch: null });
    expect(store.listEvents(id)).toEqual([said, old]);
  });

  test('a measured threshold beside what the form edits, until it is given back', () => {
    const { id } = store.createCase(CASE);
    expect(store.getCase(id).measuredThreshold ?? null).toBeNull();
    store.setMeasuredThreshold(id, MEASURED);
    expect(store.updateCase(id, { ...CASE, notes: 'edited' }).measuredThreshold).toEqual(MEASURED);
    expect(store.setMeasuredThreshold(id, null).measuredThreshold ?? null).toBeNull();
    expect(codeOf(() => store.setMeasuredThreshold('nosuchcase', null))).toBe('not-found');
  });

  test('one fuse walk a case, gone with it', () => {
    const { id } = store.createCase(CASE);
    expect(store.readFuseWalk(id)).toBeNull();
    const walk = { lines: [], clampA: { value: 0.31, expandedUncertainty: 0.004 } };
    store.writeFuseWalk(id, walk);
    store.writeFuseWalk(id, { ...walk, clampA: null });
    expect(store.readFuseWalk(id)).toEqual({ ...walk, clampA: null });
    store.deleteCase(id);
    expect(codeOf(() => store.readFuseWalk(id))).toBe('not-found');
    expect(codeOf(() => store.writeFuseWalk(id, walk))).toBe('not-found');
  });

  test('what a recording is watched for, until it is disarmed', () => {
    const { id } = store.createRecording(NIGHT);
    expect(store.readWatch(id)).toBeNull();
    const settings = watchSettingsSchema.parse({ floorV: 11.9, webhook: 'https://example.com/hook' });
    store.writeWatch(id, settings);
    expect(store.readWatch(id)).toEqual(settings);
    store.writeWatch(id, null);
    expect(store.readWatch(id)).toBeNull();
    expect(codeOf(() => store.writeWatch('nosuchone', settings))).toBe('not-found');
  });
});
