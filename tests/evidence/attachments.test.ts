import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import path from 'node:path';
import { crc32, deflateSync } from 'node:zlib';
import { afterEach, beforeEach, expect, test } from 'vitest';
import { concat } from '../../server/evidence/octets.ts';
import { verifyBundle } from '../../server/evidence/verify.ts';
import { unzip } from '../../server/evidence/zip.ts';
import type { Checklist } from '../../server/messages/checklist.ts';
import { EMPTY_METER_RECORD, meterRecordSchema } from '../../server/messages/meterRecord.ts';
import type { ZeroCheck } from '../../server/messages/zeroCheck.ts';
import { caseInputSchema } from '../../server/messages/records.ts';
import { columnsOf } from '../../server/samples/columns.ts';
import { nodeChecker } from '../../server/sealing/checker.ts';
import { dossierOf } from '../../server/sealing/dossier.ts';
import { importBundle } from '../../server/sealing/importBundle.ts';
import { reportHtml } from '../../server/report/html.ts';
import { signerIn } from '../../server/sealing/keyFile.ts';
import { reportOfNight, sealWithReport } from '../../server/sealing/reportNight.ts';
import { openStore } from '../../server/store/openStore.ts';
import type { Store } from '../../server/store/store.ts';
import { SEALED_AT, VERSION } from '../helpers/sealedNight.ts';

const KEY = 'server:c0:ff:ee:00:02:02';
const RECORD = meterRecordSchema.parse({
  ...EMPTY_METER_RECORD,
  name: 'clamp 2',
  serial: 'S-0042',
  accuracy: [{ quantity: 'voltage', upTo: 20, percent: 0.5, digits: 3 }],
  calibration: {
    number: 'K-17',
    date: '2026-01-15',
    laboratory: 'Bench of our own',
    lines: [{ quantity: 'voltage', fixed: 0.002, percent: 0.05, asFound: '+0.003 V at 12 V' }],
  },
});
const ZERO: ZeroCheck = {
  meterKey: KEY,
  key: 'v',
  quantity: 'voltage',
  takenAt: '2026-03-01T19:59:00.000Z',
  atMs: -60_000,
  durationMs: 5000,
  readings: 50,
  mean: 0.0012,
  scatter: 0.0005,
  standardUncertainty: 0.0003,
};

const CHECKLIST: Checklist = {
  ticks: [{ id: 'fobs-away', at: '2026-03-01T19:58:00.000Z' }],
  found: [
    {
      id: 'rate',
      verdict: 'fine',
      text: 'Meter: 9.8 readings a second',
      value: 9.8,
      at: '2026-03-01T19:58:30.000Z',
    },
  ],
};

/** A PNG file (W3C PNG, third edition) of `n` black pixels. */
function dot(n: number): Uint8Array {
  const chunk = (type: string, body: Buffer) => {
    const head = Buffer.alloc(4);
    head.writeUInt32BE(body.length);
    const typed = Buffer.concat([Buffer.from(type, 'latin1'), body]);
    const sum = Buffer.alloc(4);
    sum.writeUInt32BE(crc32(typed));
    return Buffer.concat([head, typed, sum]);
  };
  const header = Buffer.from([0, 0, 0, n, 0, 0, 0, 1, 8, 0, 0, 0, 0]);
  const parts = [chunk('IHDR', header), chunk('IDAT', deflateSync(Buffer.alloc(n + 1)))];
  return Buffer.concat([
    Buffer.from([0x89, 0x50, 0x4e, 0x47, 0x0d, 0x0a, 0x1a, 0x0a]),
    ...parts,
    chunk('IEND', Buffer.alloc(0)),
  ]);
}

let data: string;
let store: Store;
let id: string;

beforeEach(() => {
  data = mkdtempSync(path.join(tmpdir(), 'nightdraw-attached-'));
  store = openStore(path.join(data, 'nightdraw.db'));
  const theCase = store.createCase(
    caseInputSchema.parse({
      title: 'Estate, handle dead',
      plateOrVin: 'AB12 CDE',
      complaint: '',
      notes: '',
      battery: null,
      thresholdV: null,
      drawLimitA: null,
    }),
  );
  store.setMeasuredThreshold(theCase.id, {
    thresholdV: 12.2,
    expandedUncertaintyV: 0.1,
    method: 'bracket',
    tries: 6,
    takenAt: '2026-03-01T20:05:00.000Z',
  });
  const made = store.createRecording({
    caseId: theCase.id,
    kind: 'live-watch',
    title: 'Tries in the yard',
    startedAt: '2026-03-01T20:00:00.000Z',
    zone: 'Europe/London',
    provenance: '',
    state: 'recording',
    channels: [
      {
        meterKey: KEY,
        meterName: 'Meter',
        driver: 'd',
        key: 'v',
        quantity: 'voltage',
        label: 'Battery',
        apertureMs: 50,
      },
    ],
    meters: [{ meterKey: KEY, record: RECORD }],
  });
  id = made.id;
  // A dip of 0.4 V at 60 s and at 120 s, ten readings a second.
  const n = 1800;
  const t = Float64Array.from({ length: n }, (_, i) => i * 100);
  const volts = t.map((x) => {
    const since = Math.min(...[60_000, 120_000].map((at) => (x >= at ? x - at : Infinity)));
    return Math.round(12_300 - (since < 20_000 ? 400 * Math.exp(-since / 1500) : 0));
  });
  store.commit({
    recordingId: id,
    samples: [
      {
        channelId: made.channels[0]!.id,
        columns: columnsOf(t, volts, new Int8Array(n).fill(-3), new Uint16Array(n)),
      },
    ],
    gaps: [],
    events: [
      { atMs: 60_000, kind: 'attempt', text: 'Mr Example pulled', value: null, outcome: 'opened' },
      { atMs: 120_000, kind: 'attempt', text: '', value: null, outcome: 'button-only' },
    ],
    batch: null,
  });
  store.addZeroCheck(id, ZERO);
  store.addPhoto(theCase.id, { kind: 'battery-label', caption: 'Label, seven years old' }, dot(1));
  store.addPhoto(theCase.id, { kind: 'hook-up', caption: '' }, dot(2));
  store.addNote(theCase.id, { text: 'Owner parks beside the kitchen, fob on the sill' });
  store.writeChecklist(id, CHECKLIST);
  store.stopRecording(id, 180_000);
});
afterEach(() => {
  store.close();
  rmSync(data, { recursive: true });
});

async function seal(without: ('identity' | 'photos')[] = []): Promise<Uint8Array> {
  const pieces: Uint8Array[] = [];
  const options = { data, signer: signerIn(data), version: VERSION, sealedAt: SEALED_AT, without };
  await sealWithReport(store, id, options, (octets) => void pieces.push(octets.slice()));
  return concat(...pieces);
}

test('meters, zero checks, checklist, tries, photos, notes and the measured threshold are sealed and read back', async () => {
  const found = verifyBundle(await seal(), nodeChecker);
  expect(found).toMatchObject({ status: 'intact', findings: { same: true } });
  const { attachments } = dossierOf(store, id);
  expect(found.contents!.attachments).toEqual(attachments);
  expect(attachments.photos.map((p) => [p.kind, p.caption])).toEqual([
    ['battery-label', 'Label, seven years old'],
    ['hook-up', ''],
  ]);
  expect(attachments.notes).toHaveLength(1);
  expect(attachments.checklist).toEqual(CHECKLIST);
  expect(attachments.attempts!.attempts.map((a) => a.outcome)).toEqual(['opened', 'button-only']);
  expect(found.findings!.sealed.battery).toMatchObject({
    thresholdV: 12.2,
    thresholdFrom: 'measured-on-this-car',
  });
});

test('an imported bundle has them all again', async () => {
  const away = openStore(path.join(data, 'elsewhere.db'));
  const made = importBundle(away, await seal(), {
    name: 'night.zip',
    data: path.join(data, 'elsewhere'),
    caseId: null,
    signer: () => signerIn(data),
    at: SEALED_AT,
  });
  const [here, there] = [dossierOf(store, id), dossierOf(away, made.id)];
  expect(there.attachments.meters).toEqual(here.attachments.meters);
  expect(there.attachments.zeroChecks).toEqual(here.attachments.zeroChecks);
  expect(there.attachments.checklist).toEqual(here.attachments.checklist);
  const papers = (d: typeof here) => [
    d.attachments.photos.map(({ addedAt: _, ...photo }) => photo),
    d.attachments.notes.map((n) => n.text),
  ];
  expect(papers(there)).toEqual(papers(here));
  const tries = (d: typeof here) => d.attachments.attempts!.attempts.map(({ recordingId: _, ...a }) => a);
  expect(tries(there)).toEqual(tries(here));
  expect(there.case!.measuredThreshold).toEqual(here.case!.measuredThreshold);
  expect(there.findings).toEqual(here.findings);
  away.close();
});

test('without photos there are none, in the report neither', async () => {
  const bundle = await seal(['photos']);
  const found = verifyBundle(bundle, nodeChecker);
  expect(found.status).toBe('intact');
  expect(found.contents!.attachments).toMatchObject({ photos: [], notes: [{}], checklist: CHECKLIST });
  const report = (octets: Uint8Array) =>
    [...unzip(octets, nodeChecker.sha256).members].find(([name]) => name.endsWith('report.html'))![1];
  const pictures = (octets: Uint8Array) => Buffer.from(report(octets)).toString().split('<img').length - 1;
  expect([pictures(bundle), pictures(await seal())]).toEqual([0, 2]);
});

test('without identity nothing that a person wrote of a try is in it', async () => {
  const found = verifyBundle(await seal(['identity']), nodeChecker);
  expect(found.status).toBe('intact');
  expect(found.contents!.attachments).toMatchObject({
    notes: [],
    photos: [{ caption: '' }, { caption: '' }],
  });
  const { attempts } = found.contents!.attachments.attempts!;
  expect(attempts.map((a) => [a.text, a.recordingTitle, a.outcome])).toEqual([
    ['', '', 'opened'],
    ['', '', 'button-only'],
  ]);
});

test('the report says by what it was measured, and what the tries show', () => {
  const options = { data, signer: signerIn(data), version: VERSION, madeAt: SEALED_AT };
  const model = reportOfNight(store, id, { ...options, reader: 'workshop' });
  const section = (title: string) => model.sections.find((s) => s.title === title)!;
  const measured = section('How it was measured').facts.map((row) => row.join(' | '));
  expect(measured).toContainEqual(
    'clamp 2 | serial S-0042; voltage up to 20 V: ±(0.5 % of reading + 3 digits); calibrated 2026-01-15, ' +
      'certificate K-17, Bench of our own, voltage ±(0.002 V + 0.05 %), k = 2, as found +0.003 V at 12 V',
  );
  expect(measured.at(-1)).toMatch(
    /^Zero before, voltage \| 1\.20 mV, known to ±0\.60 mV \(k = 2\), 50 readings/,
  );
  const tries = section('Attempts at the handle').facts;
  expect(tries.map((row) => row[1])).toEqual([
    'opened by the handle',
    'the handle failed, the button worked',
  ]);
  expect(tries[0]![2]).toMatch(/^from 12\.300 V .*down to 11\.9\d\d V/);
  const checked = section('Checked before the night');
  expect(checked.facts.filter(([at]) => at !== 'left open')).toEqual([
    ['1 Mar 2026, 19:58 (Europe/London)', 'All fobs out of the car and at least 3 m (10 ft) away, dash dark'],
  ]);
  expect(checked.bullets).toEqual(['Meter: 9.8 readings a second (in order).']);
  expect(section('Notes').facts[0]![1]).toMatch(/fob on the sill/);
  expect(model.photos).toHaveLength(2);
  const html = reportHtml(model);
  expect(html.match(/<img src="data:image\/png;base64,/g)).toHaveLength(2);
  expect(html).toContain('alt="Label, seven years old"');
  expect(section('What was not tested').bullets.join(' ')).not.toMatch(/was not tried/);
});
