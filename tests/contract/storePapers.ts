import { createHash } from 'node:crypto';
import { describe, expect, test } from 'vitest';
import { noteSchema, photoSchema } from '../../server/messages/casePapers.ts';
import type { Checklist } from '../../server/messages/checklist.ts';
import { caseInputSchema, caseSchema } from '../../server/messages/records.ts';
import type { Store } from '../../server/store/store.ts';
import { jpegWith, pngWith } from '../helpers/pictures.ts';
import { CASE, codeOf, NIGHT } from './store.ts';

const CHECKLIST: Checklist = {
  ticks: [{ id: 'fobs-away', at: '2026-01-05T21:00:00.000Z' }],
  found: [
    {
      id: 'disk',
      verdict: 'fine',
      text: '12 GB free.',
      value: 12e9,
      at: '2026-01-05T21:00:01.000Z',
    },
  ],
};
const FAR = '2999-01-01T00:00:00.000Z';

/** Deleting with a way back, archive, photos, notes and checklists, as every Store has them. */
export function papersContract(name: string, makeStore: () => Store): void {
  describe(`${name}: deleted cases`, () => {
    const withNight = () => {
      const store = makeStore();
      const { id } = store.createCase(CASE);
      const night = store.createRecording({ ...NIGHT, caseId: id }).id;
      return { store, id, night };
    };

    test('come back with their recordings, photos, notes and fuse walk', () => {
      const { store, id, night } = withNight();
      const photo = store.addPhoto(id, { kind: 'display', caption: 'zero' }, jpegWith());
      const note = store.addNote(id, { text: 'rain' });
      store.archiveCase(id, true);
      store.deleteCase(id);
      expect(store.listDeletedCases()).toMatchObject([{ id, recordings: 1, title: CASE.title }]);
      for (const look of [
        () => store.getCase(id),
        () => store.updateCase(id, CASE),
        () => store.archiveCase(id, false),
        () => store.deleteCase(id),
        () => store.listPhotos(id),
        () => store.readPhoto(photo.id),
        () => store.listNotes(id),
        () => store.addNote(id, { text: 'x' }),
        () => store.addPhoto(id, { kind: 'other', caption: '' }, jpegWith()),
        () => store.createRecording({ ...NIGHT, caseId: id }),
        () => store.moveRecording(night, id),
        () => store.readFuseWalk(id),
        () => store.setMeasuredThreshold(id, null),
      ])
        expect(codeOf(look), String(look)).toBe('not-found');
      expect(store.getRecording(night).caseId).toBeNull();

      const back = store.restoreCase(id);
      expect(back).toMatchObject({ id, recordings: 1 });
      expect(back.deletedAt ?? null).toBeNull();
      expect(store.getRecording(night).caseId).toBe(id);
      expect(store.listPhotos(id)).toEqual([photo]);
      expect(store.listNotes(id)).toEqual([note]);
      expect(store.listDeletedCases()).toEqual([]);
      expect(store.restoreCase(id)).toEqual(back);
    });

    test('do not take back a recording that was moved meanwhile', () => {
      const { store, id, night } = withNight();
      const other = store.createCase({ ...CASE, title: 'Van' });
      store.deleteCase(id);
      store.moveRecording(night, other.id);
      store.moveRecording(night, null);
      expect(store.restoreCase(id).recordings).toBe(0);
      expect(store.getRecording(night).caseId).toBeNull();
    });

    test('keep their place in the list when they come back', () => {
      const store = makeStore();
      const [a, b, c] = ['a', 'b', 'c'].map((title) => store.createCase({ ...CASE, title }));
      store.deleteCase(b!.id);
      store.restoreCase(b!.id);
      expect(store.listCases().map((x) => x.id)).toEqual([c!.id, b!.id, a!.id]);
    });

    test('are gone after the purge, with all but their recordings', () => {
      const { store, id, night } = withNight();
      const photo = store.addPhoto(id, { kind: 'display', caption: '' }, jpegWith());
      store.deleteCase(id);
      expect(store.purge('2000-01-01T00:00:00.000Z')).toBe(0);
      expect(store.listDeletedCases()).toHaveLength(1);
      expect(store.purge(FAR)).toBe(1);
      expect(store.listDeletedCases()).toEqual([]);
      expect(codeOf(() => store.restoreCase(id))).toBe('not-found');
      expect(codeOf(() => store.restorePhoto(photo.id))).toBe('not-found');
      expect(store.getRecording(night).caseId).toBeNull();
    });
  });

  describe(`${name}: the case as a file`, () => {
    test('keeps the car, the fobs and what was asked', () => {
      const store = makeStore();
      const input = caseInputSchema.parse({
        title: 'Estate',
        askedBy: 'the desk',
        mileage: { value: 123456, unit: 'km' },
        battery: { role: 'main', chemistry: null, capacityAh: null, ageYears: 6.5, place: 'boot' },
        fobs: { count: 2, failing: 'the older one', cell: 'weak', cellV: 2.71 },
        asked: { parkedDays: 12, answers: { 'fob-near': { answer: 'yes', note: 'hall table' } } },
      });
      const { id } = store.createCase(input);
      expect(store.getCase(id)).toMatchObject(input);
      expect(() => caseSchema.parse(store.getCase(id))).not.toThrow();
      expect(store.updateCase(id, CASE)).toMatchObject({
        fobs: null,
        asked: null,
        mileage: null,
        askedBy: '',
      });
    });

    test('is put aside and taken out again', () => {
      const store = makeStore();
      const { id } = store.createCase(CASE);
      expect(store.archiveCase(id, true).archivedAt).toMatch(/^\d{4}-/);
      expect(store.listCases()).toHaveLength(1);
      expect(store.archiveCase(id, false).archivedAt ?? null).toBeNull();
      expect(codeOf(() => store.archiveCase('nope', true))).toBe('not-found');
    });
  });

  describe(`${name}: photos`, () => {
    test('come back octet for octet, without what tells place and camera', () => {
      const store = makeStore();
      const { id } = store.createCase(CASE);
      const photo = store.addPhoto(id, { kind: 'hook-up', caption: 'clamp' }, jpegWith({ exif: true }));
      const { octets, photo: again } = store.readPhoto(photo.id);
      expect(again).toEqual(photo);
      expect(() => photoSchema.parse(photo)).not.toThrow();
      expect([...octets]).toEqual([...jpegWith()]);
      expect(photo).toMatchObject({ type: 'image/jpeg', widthPx: 40, heightPx: 30, bytes: octets.length });
      expect(photo.sha256).toBe(createHash('sha256').update(jpegWith()).digest('hex'));
      const label = store.addPhoto(id, { kind: 'battery-label', caption: '' }, pngWith());
      expect(store.listPhotos(id)).toEqual([photo, label]);
      expect(store.changePhoto(label.id, { kind: 'other', caption: 'label' })).toEqual({
        ...label,
        kind: 'other',
        caption: 'label',
      });
    });

    test('are deleted, brought back, and gone after the purge', () => {
      const store = makeStore();
      const { id } = store.createCase(CASE);
      const photo = store.addPhoto(id, { kind: 'other', caption: '' }, jpegWith());
      store.deletePhoto(photo.id);
      expect(store.listPhotos(id)).toEqual([]);
      for (const look of [
        () => store.readPhoto(photo.id),
        () => store.changePhoto(photo.id, { kind: 'other', caption: '' }),
        () => store.deletePhoto(photo.id),
      ])
        expect(codeOf(look)).toBe('not-found');
      expect(store.restorePhoto(photo.id)).toEqual(photo);
      store.deletePhoto(photo.id);
      expect(store.purge(FAR)).toBe(1);
      expect(codeOf(() => store.restorePhoto(photo.id))).toBe('not-found');
    });

    test('that are too large, no picture or of no case are refused, and nothing is kept', () => {
      const store = makeStore();
      const { id } = store.createCase(CASE);
      const add = (octets: Uint8Array, caseId = id) =>
        codeOf(() => store.addPhoto(caseId, { kind: 'other', caption: '' }, octets));
      expect(add(new Uint8Array(3 * 1024 * 1024 + 1))).toBe('too-large');
      expect(add(jpegWith({ widthPx: 2401 }))).toBe('too-large');
      expect(add(new TextEncoder().encode('<svg xmlns="http://www.w3.org/2000/svg"/>'))).toBe(
        'unreadable-file',
      );
      expect(add(jpegWith(), 'nope')).toBe('not-found');
      expect(store.listPhotos(id)).toEqual([]);
    });
  });

  describe(`${name}: notes and checklists`, () => {
    test('notes are kept in order, changed, deleted and brought back', () => {
      const store = makeStore();
      const { id } = store.createCase(CASE);
      const [a, b] = ['first', 'second'].map((text) => store.addNote(id, { text }));
      expect(store.listNotes(id)).toEqual([a, b]);
      expect(() => noteSchema.parse(a)).not.toThrow();
      expect(store.changeNote(a!.id, { text: 'better' })).toEqual({ ...a, text: 'better' });
      store.deleteNote(a!.id);
      expect(store.listNotes(id)).toEqual([b]);
      expect(codeOf(() => store.changeNote(a!.id, { text: 'x' }))).toBe('not-found');
      expect(store.restoreNote(a!.id).text).toBe('better');
      expect(store.listNotes(id).map((n) => n.text)).toEqual(['better', 'second']);
      expect(codeOf(() => store.restoreNote('nope'))).toBe('not-found');
    });

    test('a checklist goes with its recording', () => {
      const store = makeStore();
      const { id } = store.createRecording({ ...NIGHT, state: 'stopped' });
      expect(store.readChecklist(id)).toBeNull();
      store.writeChecklist(id, { ticks: [], found: [] });
      store.writeChecklist(id, CHECKLIST);
      expect(store.readChecklist(id)).toEqual(CHECKLIST);
      store.deleteRecording(id);
      expect(codeOf(() => store.readChecklist(id))).toBe('not-found');
      expect(codeOf(() => store.writeChecklist(id, CHECKLIST))).toBe('not-found');
    });
  });
}
