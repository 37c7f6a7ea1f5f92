import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import path from 'node:path';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { meterRecordSchema } from '../../server/messages/meterRecord.ts';
import type { MeterDescription } from '../../server/messages/taughtMeters.ts';
import type { ZeroCheck } from '../../server/messages/zeroCheck.ts';
import { openStore } from '../../server/store/openStore.ts';
import type { Store } from '../../server/store/store.ts';
import { memoryStore } from '../helpers/memoryStore.ts';

const KEY = 'server:c0de00000001';
const RECORD = meterRecordSchema.parse({
  name: 'Clamp 2',
  serial: '4711',
  accuracy: [{ quantity: 'current', upTo: 4, percent: 1.5, digits: 10 }],
  calibration: {
    number: 'C-1',
    date: '2026-03-01',
    lines: [{ quantity: 'current', fixed: 0.01, percent: 0.5 }],
  },
});
const CHECK: ZeroCheck = {
  meterKey: KEY,
  key: 'ffe1.0',
  quantity: 'current',
  takenAt: '2026-11-25T20:00:00.000Z',
  atMs: -60_000,
  durationMs: 5000,
  readings: 20,
  mean: 0.012,
  scatter: 0.002,
  standardUncertainty: 0.0005,
};
const DESCRIPTION: MeterDescription = {
  schema: 'nightdraw.meter/1',
  title: 'Taught meter',
  source: null,
  nameStartsWith: null,
  length: 2,
  mask: null,
  checksum: null,
  copies: [],
  fixed: { bits: [], is: '' },
  modes: { bits: [], rows: [{ is: '', quantity: 'voltage', exponent: -2, limit: 10_000, ac: false }] },
  value: { kind: 'integer', at: 0, octets: 2, order: 'little', sign: 'twos-complement' },
  sign: null,
  flags: [],
  overload: [],
};

let folder: string;
beforeEach(() => (folder = mkdtempSync(path.join(tmpdir(), 'nightdraw-'))));
afterEach(() => rmSync(folder, { recursive: true }));

const STORES: [string, () => Store][] = [
  ['in memory', memoryStore],
  ['SQLite', () => openStore(path.join(folder, 'nightdraw.db'))],
];

describe.each(STORES)('meters: %s', (_name, open) => {
  const start = (store: Store) =>
    store.createRecording({
      caseId: null,
      kind: 'overnight-test',
      title: 'Night',
      startedAt: '2026-11-25T20:01:00.000Z',
      zone: null,
      provenance: '',
      state: 'recording',
      channels: [
        {
          meterKey: KEY,
          meterName: 'Clamp',
          driver: 'taught',
          key: 'ffe1.0',
          quantity: 'current',
          label: 'Current',
          apertureMs: null,
          step: 0.001,
        },
      ],
      meters: [{ meterKey: KEY, record: RECORD }],
    });

  it('keeps a record, changes it and takes it away', () => {
    const store = open();
    expect(store.readMeterRecord(KEY)).toBeNull();
    store.writeMeterRecord(KEY, RECORD);
    store.writeMeterRecord(KEY, { ...RECORD, name: 'Clamp 3' });
    expect(store.readMeterRecord(KEY)).toEqual({ ...RECORD, name: 'Clamp 3' });
    expect(store.listMeterRecords()).toMatchObject([{ meterKey: KEY, record: { name: 'Clamp 3' } }]);
    store.writeMeterRecord(KEY, null);
    expect(store.listMeterRecords()).toEqual([]);
    store.close();
  });

  it('leaves the record of a recording as it was when the record is edited later', () => {
    const store = open();
    const { id, channels } = start(store);
    expect(channels[0]!.step).toBe(0.001);
    store.writeMeterRecord(KEY, { ...RECORD, serial: 'another' });
    expect(store.listRecordedMeters(id)).toEqual([{ meterKey: KEY, record: RECORD }]);
    store.close();
  });

  it('keeps zero checks of a recording in their order, and lets them go with it', () => {
    const store = open();
    const { id } = start(store);
    store.addZeroCheck(id, { ...CHECK, atMs: 9000 });
    store.addZeroCheck(id, CHECK);
    expect(store.listZeroChecks(id).map((c) => c.atMs)).toEqual([-60_000, 9000]);
    store.stopRecording(id, 8000);
    store.deleteRecording(id);
    expect(() => store.listZeroChecks(id)).toThrow(expect.objectContaining({ code: 'not-found' }));
    store.close();
  });

  it('keeps the zero checks that wait for a recording, the last of each meter', () => {
    const store = open();
    const { atMs: _, ...check } = CHECK;
    expect(store.listHeldZeroChecks()).toEqual([]);
    store.holdZeroChecks(KEY, [check]);
    store.holdZeroChecks('page:other', [{ ...check, meterKey: 'page:other' }]);
    store.holdZeroChecks(KEY, [{ ...check, mean: 0.5 }, check]);
    expect(store.listHeldZeroChecks().map((c) => [c.meterKey, c.mean])).toEqual([
      ['page:other', 0.012],
      [KEY, 0.5],
      [KEY, 0.012],
    ]);
    store.holdZeroChecks(KEY, []);
    expect(store.listHeldZeroChecks().map((c) => c.meterKey)).toEqual(['page:other']);
    store.close();
  });

  it('keeps one copy of a description, and says when there is none to delete', () => {
    const store = open();
    const first = store.addTaughtMeter(DESCRIPTION);
    expect(store.addTaughtMeter(DESCRIPTION).id).toBe(first.id);
    store.addTaughtMeter({ ...DESCRIPTION, title: 'Another' });
    expect(store.listTaughtMeters()).toHaveLength(2);
    store.deleteTaughtMeter(first.id);
    expect(store.listTaughtMeters().map((t) => t.description.title)).toEqual(['Another']);
    expect(() => store.deleteTaughtMeter(first.id)).toThrow(expect.objectContaining({ code: 'not-found' }));
    store.close();
  });
});

it('keeps descriptions and records over a restart', () => {
  const file = path.join(folder, 'nightdraw.db');
  const before = openStore(file);
  before.addTaughtMeter(DESCRIPTION);
  before.writeMeterRecord(KEY, RECORD);
  const { atMs: _, ...check } = CHECK;
  before.holdZeroChecks(KEY, [check]);
  before.close();
  const after = openStore(file);
  expect(after.listTaughtMeters()[0]!.description).toEqual(DESCRIPTION);
  expect(after.readMeterRecord(KEY)).toEqual(RECORD);
  expect(after.listHeldZeroChecks()).toEqual([check]);
  after.close();
});
