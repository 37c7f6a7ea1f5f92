import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { caseTimelineSchema, noteSchema, photoSchema } from '../../server/messages/casePapers.ts';
import { caseListSchema, recordingDetailSchema, statusSchema } from '../../server/messages/http.ts';
import { caseInputSchema, caseSchema, recordingSchema } from '../../server/messages/records.ts';
import { ok, refused } from '../helpers/answers.ts';
import { FakeMeter } from '../helpers/fakeMeter.ts';
import { ManualClock } from '../helpers/manualClock.ts';
import { jpegWith } from '../helpers/pictures.ts';
import { createWebBench, type WebBench } from '../helpers/webBench.ts';

let bench: WebBench;
let clock: ManualClock;
let id: string;
const meter = new FakeMeter('one');

beforeEach(async () => {
  clock = new ManualClock();
  bench = await createWebBench({ clock, meters: [meter] });
  id = bench.store.createCase(caseInputSchema.parse({ title: 'Estate' })).id;
});
afterEach(() => bench.close());

const CHECKLIST = {
  ticks: [{ id: 'locked', at: '2026-01-05T21:00:00.000Z' }],
  found: [{ id: 'rate', verdict: 'fine', text: '20 a second.', value: 20, at: '2026-01-05T21:00:00.000Z' }],
};

async function recordingOfMeter(more: object = {}) {
  const scan = bench.ask('/api/meters/scan', { body: { seconds: 1 } });
  await new Promise((resolve) => setTimeout(resolve, 100));
  await clock.advance(1000);
  await scan;
  await bench.ask('/api/meters/server:one/connect', { body: {} });
  await clock.advance(10);
  const body = { caseId: id, kind: 'overnight-test', title: 'Night', meters: ['server:one'], ...more };
  return recordingSchema.parse(await ok(bench.ask('/api/recordings', { body }), 201));
}

describe('a deleted case', () => {
  it('is listed as deleted and brought back', async () => {
    expect((await bench.ask(`/api/cases/${id}`, { method: 'DELETE' })).status).toBe(204);
    expect(caseListSchema.parse(await ok(bench.ask('/api/cases')))).toEqual([]);
    const [gone] = caseListSchema.parse(await ok(bench.ask('/api/cases/deleted')));
    expect(gone).toMatchObject({ id, title: 'Estate' });
    expect(gone!.deletedAt).toMatch(/^\d{4}-/);
    const back = caseSchema.parse(await ok(bench.ask(`/api/cases/${id}/restore`, { body: {} })));
    expect(back).toMatchObject({ id, title: 'Estate' });
    expect(await ok(bench.ask('/api/cases/deleted'))).toEqual([]);
  });

  it('is put aside and taken out again', async () => {
    const put = (archived: unknown) =>
      bench.ask(`/api/cases/${id}/archived`, { method: 'PUT', body: { archived } });
    expect(caseSchema.parse(await ok(put(true))).archivedAt).toMatch(/^\d{4}-/);
    expect(caseSchema.parse(await ok(put(false))).archivedAt ?? null).toBeNull();
    expect((await put('yes')).status).toBe(400);
  });
});

describe('photos', () => {
  const upload = (query: string, body: Uint8Array, to = id) =>
    bench.ask(`/api/cases/${to}/photos${query}`, { body, method: 'POST' });

  it('are kept with kind and caption, shown, changed, deleted and brought back', async () => {
    const photo = photoSchema.parse(
      await ok(upload('?kind=display&caption=zero%20mA', jpegWith({ exif: true })), 201),
    );
    expect(photo).toMatchObject({ caseId: id, kind: 'display', caption: 'zero mA', widthPx: 40 });
    const picture = await bench.ask(`/api/photos/${photo.id}/picture`);
    expect(picture.status).toBe(200);
    expect(picture.headers).toMatchObject({
      'content-type': 'image/jpeg',
      'x-content-type-options': 'nosniff',
      'content-length': String(jpegWith().length),
    });
    const changed = { method: 'PUT', body: { kind: 'other', caption: 'x' } };
    expect(await ok(bench.ask(`/api/photos/${photo.id}`, changed))).toMatchObject({ caption: 'x' });
    expect((await bench.ask(`/api/photos/${photo.id}`, { method: 'DELETE' })).status).toBe(204);
    expect(await refused(bench, `/api/photos/${photo.id}/picture`)).toEqual([404, 'not-found']);
    await ok(bench.ask(`/api/photos/${photo.id}/restore`, { body: {} }));
    expect(await ok(bench.ask(`/api/cases/${id}/photos`))).toHaveLength(1);
  });

  it('that are none, too large, nameless or of a wrong kind are refused', async () => {
    expect((await upload('', new TextEncoder().encode('GIF89a'))).status).toBe(422);
    expect((await upload('', new Uint8Array(3 * 1024 * 1024 + 1))).status).toBe(413);
    expect((await upload('?kind=selfie', jpegWith())).status).toBe(400);
    expect((await upload('?kind=other&path=/etc', jpegWith())).status).toBe(400);
    expect((await upload('', jpegWith(), 'gone')).status).toBe(404);
    expect((await bench.ask(`/api/cases/${id}/photos`, { method: 'POST' })).status).toBe(422);
    expect(bench.store.listPhotos(id)).toEqual([]);
  });
});

describe('notes', () => {
  it('are written, changed, deleted and brought back', async () => {
    const note = noteSchema.parse(
      await ok(bench.ask(`/api/cases/${id}/notes`, { body: { text: ' rain ' } }), 201),
    );
    expect(note.text).toBe('rain');
    const put = { method: 'PUT', body: { text: 'snow' } };
    expect(await ok(bench.ask(`/api/notes/${note.id}`, put))).toEqual({ ...note, text: 'snow' });
    expect((await bench.ask(`/api/notes/${note.id}`, { method: 'DELETE' })).status).toBe(204);
    expect(await refused(bench, `/api/notes/${note.id}`, put)).toEqual([404, 'not-found']);
    expect(await ok(bench.ask(`/api/notes/${note.id}/restore`, { body: {} }))).toMatchObject({
      text: 'snow',
    });
    expect((await bench.ask(`/api/cases/${id}/notes`, { body: { text: '' } })).status).toBe(400);
  });
});

describe('the checklist', () => {
  it('is kept when a recording is started with it, and is in its detail and the timeline', async () => {
    const { id: night } = await recordingOfMeter({ checklist: CHECKLIST });
    await bench.ask(`/api/recordings/${night}/events`, { body: { kind: 'note', text: 'doors shut' } });
    await clock.advance(2000);
    const detail = recordingDetailSchema.parse(await ok(bench.ask(`/api/recordings/${night}`)));
    expect(detail.checklist).toEqual(CHECKLIST);
    bench.store.addNote(id, { text: 'rain' });
    bench.store.addPhoto(id, { kind: 'display', caption: '' }, jpegWith());
    const timeline = caseTimelineSchema.parse(await ok(bench.ask(`/api/cases/${id}/timeline`)));
    expect(timeline.recordings.map((r) => [r.recording.id, r.checklist])).toEqual([[night, CHECKLIST]]);
    expect(timeline.recordings[0]!.events).toEqual(detail.events);
    expect(detail.events.map((e) => e.text)).toContain('doors shut');
    expect([timeline.photos.length, timeline.notes.length]).toEqual([1, 1]);
    expect(await refused(bench, '/api/cases/gone1234/timeline')).toEqual([404, 'not-found']);
  });

  it('can be written later, and only of known items', async () => {
    const { id: night } = await recordingOfMeter();
    const path = `/api/recordings/${night}/checklist`;
    expect(await ok(bench.ask(path))).toBeNull();
    expect(await ok(bench.ask(path, { method: 'PUT', body: CHECKLIST }))).toEqual(CHECKLIST);
    const bad = { ...CHECKLIST, ticks: [{ id: 'lucky', at: '2026-01-05T21:00:00.000Z' }] };
    expect((await bench.ask(path, { method: 'PUT', body: bad })).status).toBe(400);
    expect(await ok(bench.ask(path))).toEqual(CHECKLIST);
  });
});

it('says how much room the disk has', async () => {
  const { disk } = statusSchema.parse(await ok(bench.ask('/api/status')));
  expect(disk!.freeBytes).toBeGreaterThan(1e6);
});
