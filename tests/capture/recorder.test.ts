import path from 'node:path';
import { rmSync } from 'node:fs';
import Database from 'better-sqlite3';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import type { Clock } from '../../drivers/core/clock.ts';
import { CommitGroup } from '../../server/capture/commitGroup.ts';
import { Recorder, type RecorderOptions } from '../../server/capture/recorder.ts';
import { openStore, storeOn } from '../../server/store/openStore.ts';
import type { Store } from '../../server/store/store.ts';
import { FillableStore, temporaryFolder } from '../helpers/hubBench.ts';
import { ManualClock } from '../helpers/manualClock.ts';
import { seeded } from '../helpers/seeded.ts';

const CHANNEL = {
  meterKey: 'virtual:clamp',
  meterName: 'Clamp',
  driver: 'Test',
  key: 'a.0',
  quantity: 'current',
  label: 'Current',
  apertureMs: null,
} as const;

let folder: string;
let fill: FillableStore;
let clock: ManualClock;
let troubles: { over: boolean; sentence: string }[];

function startRecorder(options: Partial<RecorderOptions> = {}) {
  const recording = fill.store.createRecording({
    caseId: null,
    kind: 'live-watch',
    title: 'Test',
    startedAt: null,
    zone: null,
    provenance: '',
    state: 'recording',
    channels: [CHANNEL],
  });
  const recorder = new Recorder({
    store: fill.store,
    clock,
    recordingId: recording.id,
    startNowMs: 0,
    onTrouble: (trouble) => troubles.push(trouble),
    ...options,
  });
  return { recorder, id: recording.id, channel: recording.channels[0]!.id };
}

/** Ten readings a second, each with its number as counts. */
async function read(recorder: Recorder, channel: number, from: number, to: number): Promise<void> {
  for (let i = from; i < to; i++) {
    recorder.add(channel, i * 100, { counts: i, scale: -3, flags: 0 });
    await clock.advance(100);
  }
}

const counts = (channel: number) => [...fill.store.readSamples(channel).counts];
const upTo = (n: number) => Array.from({ length: n }, (_, i) => i);

beforeEach(() => {
  folder = temporaryFolder();
  fill = new FillableStore(openStore(path.join(folder, 'nightdraw.db')));
  clock = new ManualClock();
  troubles = [];
});

afterEach(() => {
  fill.store.close();
  rmSync(folder, { recursive: true, force: true });
});

describe('a recorder', () => {
  it('makes readings durable in groups, and needs no timer while nothing arrives', async () => {
    const { recorder, channel } = startRecorder();
    await read(recorder, channel, 0, 100);
    await clock.advance(250);
    expect(counts(channel)).toEqual(upTo(100));
    // 10 s in groups of at least 250 ms.
    expect(fill.commits).toBeGreaterThan(20);
    expect(fill.commits).toBeLessThanOrEqual(40);
    const before = fill.commits;
    await clock.advance(60_000);
    expect(fill.commits).toBe(before);
  });

  it('commits a full group at once, so that a flood does not wait for the clock', () => {
    const { recorder, channel } = startRecorder();
    for (let i = 0; i < 5000; i++) recorder.add(channel, i / 10, { counts: i, scale: 0, flags: 0 });
    expect(counts(channel)).toHaveLength(4096);
  });

  it.each(['store-full', 'store-failed'] as const)(
    'keeps readings while the store answers %s, loses none, and says how long it was',
    async (code) => {
      const { recorder, id, channel } = startRecorder();
      await read(recorder, channel, 0, 50);
      fill.full = code;
      await read(recorder, channel, 50, 650);
      const stored = counts(channel);
      expect(stored.length).toBeGreaterThan(45);
      expect(stored).toEqual(upTo(stored.length));
      fill.full = null;
      await read(recorder, channel, 650, 900);
      recorder.flush();
      expect(counts(channel)).toEqual(upTo(900));
      expect(fill.store.listGaps(id)).toEqual([]);
      expect(troubles.map((t) => t.over)).toEqual([false, true]);
      const [event] = fill.store.listEvents(id);
      expect(event).toMatchObject({ kind: 'disk-full' });
      expect(event!.text).toMatch(/^The database could not be written for \d+ s; no reading was lost\.$/);
      expect(event!.atMs).toBeGreaterThanOrEqual(5000);
      expect(event!.atMs).toBeLessThan(5500);
    },
  );

  it('does so over a database that is really full', async () => {
    const file = path.join(folder, 'small.db');
    openStore(file).close();
    const db = new Database(file);
    db.pragma('max_page_count = 60');
    fill.store.close();
    fill = new FillableStore(storeOn(db));
    const { recorder, id, channel } = startRecorder();
    const noise = seeded(5);
    const said = Array.from({ length: 60_000 }, () => Math.floor(noise() * 2 ** 40));
    for (const [i, counts] of said.entries()) {
      recorder.add(channel, i * 10, { counts, scale: -9, flags: 0 });
      if (i % 500 === 0) await clock.advance(300);
    }
    expect(troubles).toEqual([{ over: false, sentence: expect.stringContaining('full') as string }]);
    const kept = counts(channel);
    expect(kept.length).toBeGreaterThan(1000);
    expect(kept.length).toBeLessThan(60_000);
    expect(kept).toEqual(said.slice(0, kept.length));
    db.pragma('max_page_count = 100000');
    await clock.advance(20_000);
    expect(counts(channel)).toEqual(said);
    expect(fill.store.listGaps(id)).toEqual([]);
    expect(troubles.at(-1)).toMatchObject({ over: true });
  });

  it('lets the oldest go when memory is full too, with a gap and their number', async () => {
    const { recorder, id, channel } = startRecorder({ waitingLimit: 10_000 });
    await read(recorder, channel, 0, 10);
    await clock.advance(1000);
    expect(counts(channel)).toEqual(upTo(10));
    fill.full = 'store-full';
    for (let i = 10; i < 20_010; i++) recorder.add(channel, i * 100, { counts: i, scale: -3, flags: 0 });
    await clock.advance(2000);
    expect(recorder.waitingSamples).toBeLessThanOrEqual(10_000);
    fill.full = null;
    await clock.advance(20_000);

    const kept = counts(channel);
    const lost = 20_010 - kept.length;
    expect(lost).toBeGreaterThanOrEqual(10_000);
    expect(kept).toEqual([...upTo(10), ...upTo(20_010).slice(10 + lost)]);
    expect(fill.store.listGaps(id)).toEqual([
      { channelId: channel, startMs: 1000, endMs: (9 + lost) * 100, reason: 'disk-full' },
    ]);
    expect(fill.store.listEvents(id)[0]!.text).toContain(`${lost} readings were lost`);
  });

  it('tries again ever more slowly, and no more than every 15 s', async () => {
    let tries = 0;
    const recorder = new Recorder({
      store: {
        commitAll: () => {
          tries++;
          throw new Error('broken');
        },
      },
      clock,
      recordingId: 'none',
      startNowMs: 0,
    });
    recorder.add(1, 0, { counts: 1, scale: 0, flags: 0 });
    await clock.advance(250 + 1000 + 2000 + 4000 + 8000 + 15_000);
    expect(tries).toBe(6);
    await clock.advance(150_000);
    expect(tries).toBe(16);
  });

  it('gives up quietly when its recording is deleted', async () => {
    const { recorder, id, channel } = startRecorder();
    fill.store.stopRecording(id, 0);
    fill.store.deleteRecording(id);
    recorder.add(channel, 0, { counts: 1, scale: 0, flags: 0 });
    await clock.advance(1000);
    expect(troubles).toEqual([]);
    recorder.add(channel, 100, { counts: 2, scale: 0, flags: 0 });
    expect(recorder.waitingSamples).toBeLessThanOrEqual(1);
  });

  it('shares each write with the other recordings, and stores alone what they cannot', async () => {
    const group = new CommitGroup(fill.store, clock, 250);
    const all = [0, 1, 2].map(() => startRecorder({ group }));
    for (let i = 0; i < 100; i++) {
      for (const { recorder, channel } of all)
        recorder.add(channel, i * 100, { counts: i, scale: -3, flags: 0 });
      await clock.advance(100);
    }
    await clock.advance(250);
    expect(fill.commits).toBeLessThanOrEqual(40);
    for (const { channel } of all) expect(counts(channel)).toEqual(upTo(100));

    const gone = all[1]!;
    fill.store.stopRecording(gone.id, 0);
    fill.store.deleteRecording(gone.id);
    for (const { recorder, channel } of all)
      recorder.add(channel, 10_000, { counts: 100, scale: -3, flags: 0 });
    await clock.advance(250);
    for (const { channel } of [all[0]!, all[2]!]) expect(counts(channel)).toEqual(upTo(101));
    expect(troubles).toEqual([]);
  });

  it('loses nothing where the common write fails, and writes together again afterwards', async () => {
    const group = new CommitGroup(fill.store, clock, 250);
    const all = [0, 1].map(() => startRecorder({ group }));
    const add = (i: number) => {
      for (const { recorder, channel } of all)
        recorder.add(channel, i * 100, { counts: i, scale: -3, flags: 0 });
    };
    fill.full = 'store-full';
    for (let i = 0; i < 50; i++) {
      add(i);
      await clock.advance(100);
    }
    fill.full = null;
    await clock.advance(20_000);
    const before = fill.commits;
    for (let i = 50; i < 60; i++) add(i);
    await clock.advance(250);
    expect(fill.commits).toBe(before + 1);
    for (const { channel } of all) expect(counts(channel)).toEqual(upTo(60));
    expect(troubles.map((t) => t.over)).toEqual([false, false, true, true]);
  });

  it('writes less often when a write takes long', async () => {
    let blockedMs = 0;
    let commits = 0;
    const slowClock: Clock = {
      nowMs: () => clock.nowMs() + blockedMs,
      utcMs: () => clock.utcMs(),
      after: (delayMs, run) => clock.after(delayMs, run),
    };
    const store: Pick<Store, 'commitAll'> = {
      commitAll: (steps) => {
        commits++;
        blockedMs += 2000;
        return fill.store.commitAll(steps);
      },
    };
    const { recorder, channel } = startRecorder({ clock: slowClock, store });
    await read(recorder, channel, 0, 300);
    recorder.flush();
    // A write takes 2 s, so the next begins no sooner than 4 s after it.
    expect(commits).toBeGreaterThanOrEqual(8);
    expect(commits).toBeLessThanOrEqual(10);
    expect(counts(channel)).toEqual(upTo(300));
    expect(troubles).toEqual([]);
  });
});
