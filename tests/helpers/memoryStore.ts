import { createHash } from 'node:crypto';
import type { Note, Photo } from '../../server/messages/casePapers.ts';
import type { Checklist } from '../../server/messages/checklist.ts';
import { NightdrawError } from '../../server/messages/errors.ts';
import type { KeptFuseWalk } from '../../server/messages/fuses.ts';
import type { Case, Channel, Gap, Recording, RecordingEvent } from '../../server/messages/records.ts';
import type { KeptMeterRecord, RecordedMeterRecord } from '../../server/messages/meterRecord.ts';
import type { TaughtMeter } from '../../server/messages/taughtMeters.ts';
import type { WatchSettings } from '../../server/messages/watch.ts';
import type { HeldZeroCheck, ZeroCheck } from '../../server/messages/zeroCheck.ts';
import { bucketsOf } from '../../server/samples/buckets.ts';
import { columnsOf, type SampleColumns } from '../../server/samples/columns.ts';
import { acceptedPicture } from '../../server/store/casePapers.ts';
import type { Store } from '../../server/store/store.ts';

/** The store without a disk: slow, obvious, and what the real one must agree with. */

interface Sample {
  t: number;
  counts: number;
  scale: number;
  flags: number;
}

interface State {
  cases: Case[];
  recordings: Omit<Recording, 'channels'>[];
  channels: (Channel & { recordingId: string; parts: Sample[][] })[];
  gaps: (Gap & { recordingId: string })[];
  events: (RecordingEvent & { recordingId: string })[];
  batches: { recordingId: string; meterKey: string; number: number }[];
  settings: { key: string; value: string }[];
  walks: Record<string, KeptFuseWalk>;
  watches: Record<string, WatchSettings>;
  meterRecords: KeptMeterRecord[];
  recordedMeters: (RecordedMeterRecord & { recordingId: string })[];
  zeroChecks: (ZeroCheck & { recordingId: string })[];
  heldZeroChecks: Record<string, HeldZeroCheck[]>;
  taught: TaughtMeter[];
  deleted: { item: Case; recordings: string[] }[];
  photos: { photo: Photo; octets: Uint8Array; deletedAt: string | null }[];
  notes: { note: Note; deletedAt: string | null }[];
  checklists: Record<string, Checklist>;
}

export function memoryStore(): Store {
  let state: State = {
    cases: [],
    recordings: [],
    channels: [],
    gaps: [],
    events: [],
    batches: [],
    settings: [],
    walks: {},
    watches: {},
    meterRecords: [],
    recordedMeters: [],
    zeroChecks: [],
    heldZeroChecks: {},
    taught: [],
    deleted: [],
    photos: [],
    notes: [],
    checklists: {},
  };
  let lastId = 0;
  let open = true;
  const newId = () => `id${String(++lastId).padStart(6, '0')}`;

  function find<T>(list: readonly T[], match: (x: T) => boolean): T {
    const found = list.find(match);
    if (found === undefined) throw new NightdrawError('not-found');
    return found;
  }
  const recordingRow = (id: string) => find(state.recordings, (r) => r.id === id);
  const caseRow = (id: string) => find(state.cases, (c) => c.id === id);
  const photoRow = (id: string) =>
    find(
      state.photos,
      (p) => p.photo.id === id && p.deletedAt === null && state.cases.some((c) => c.id === p.photo.caseId),
    );
  const noteRow = (id: string) =>
    find(
      state.notes,
      (n) => n.note.id === id && n.deletedAt === null && state.cases.some((c) => c.id === n.note.caseId),
    );
  const channelsOf = (id: string) => state.channels.filter((c) => c.recordingId === id);

  function caseOf(row: Case): Case {
    return { ...row, recordings: state.recordings.filter((r) => r.caseId === row.id).length };
  }
  function channelOf({ recordingId: _, parts, ...channel }: State['channels'][number]): Channel {
    return { ...channel, samples: parts.flat().length };
  }
  function recordingOf(row: Omit<Recording, 'channels'>): Recording {
    const times = channelsOf(row.id).flatMap((c) => c.parts.flat().map((s) => s.t));
    return {
      ...row,
      durationMs: times.reduce((latest, t) => Math.max(latest, t), row.durationMs),
      channels: channelsOf(row.id).map(channelOf),
    };
  }
  function samplesOf(c: SampleColumns): Sample[] {
    return Array.from({ length: c.length }, (_, i) => {
      const sample = { t: c.t[i]!, counts: c.counts[i]!, scale: c.scale[i]!, flags: c.flags[i]! };
      if (!Number.isFinite(sample.t) || !Number.isFinite(sample.counts))
        throw new NightdrawError('bad-request');
      return sample;
    });
  }

  const store: Store = {
    createCase(input, options) {
      const row = { ...input, id: newId(), createdAt: '2026-01-01T00:00:00.000Z', recordings: 0 };
      state.cases.unshift({ ...row, demo: options?.demo ?? false });
      return store.getCase(row.id);
    },
    updateCase(id, input) {
      Object.assign(caseRow(id), input);
      return store.getCase(id);
    },
    deleteCase(id) {
      const item = caseRow(id);
      state.cases = state.cases.filter((c) => c !== item);
      const own = state.recordings.filter((r) => r.caseId === id);
      for (const r of own) r.caseId = null;
      state.deleted.unshift({
        item: { ...item, deletedAt: new Date().toISOString() },
        recordings: own.map((r) => r.id),
      });
    },
    restoreCase(id) {
      const gone = state.deleted.find((d) => d.item.id === id);
      if (gone === undefined) return store.getCase(id);
      state.deleted = state.deleted.filter((d) => d !== gone);
      const { deletedAt: _, ...item } = gone.item;
      state.cases.push(item);
      state.cases.sort((a, b) => (a.id < b.id ? 1 : -1));
      for (const r of state.recordings) if (gone.recordings.includes(r.id)) r.caseId = id;
      return store.getCase(id);
    },
    archiveCase(id, archived) {
      const row = caseRow(id);
      delete row.archivedAt;
      if (archived) row.archivedAt = new Date().toISOString();
      return store.getCase(id);
    },
    getCase: (id) => caseOf(caseRow(id)),
    listCases: () => state.cases.map(caseOf),
    listDeletedCases: () =>
      state.deleted.map(({ item, recordings }) => ({ ...item, recordings: recordings.length })),
    purge(before) {
      const old = (at: string | null | undefined) => typeof at === 'string' && at < before;
      const count = () => state.deleted.length + state.photos.length + state.notes.length;
      const were = count();
      const gone = state.deleted.filter((d) => old(d.item.deletedAt)).map((d) => d.item.id);
      const papers = state.photos.filter((p) => gone.includes(p.photo.caseId)).length;
      const words = state.notes.filter((n) => gone.includes(n.note.caseId)).length;
      state.deleted = state.deleted.filter((d) => !gone.includes(d.item.id));
      state.photos = state.photos.filter((p) => !old(p.deletedAt) && !gone.includes(p.photo.caseId));
      state.notes = state.notes.filter((n) => !old(n.deletedAt) && !gone.includes(n.note.caseId));
      for (const id of gone) delete state.walks[id];
      return were - count() - papers - words;
    },

    addPhoto(caseId, input, octets) {
      const picture = acceptedPicture(octets, store.listPhotos(caseId).length);
      const { type, widthPx, heightPx } = picture;
      const photo: Photo = {
        ...input,
        id: newId(),
        caseId,
        addedAt: new Date().toISOString(),
        type,
        widthPx,
        heightPx,
        bytes: picture.octets.length,
        sha256: createHash('sha256').update(picture.octets).digest('hex'),
      };
      state.photos.push({ photo, octets: picture.octets, deletedAt: null });
      return photo;
    },
    listPhotos(caseId) {
      caseRow(caseId);
      return state.photos
        .filter((p) => p.photo.caseId === caseId && p.deletedAt === null)
        .map((p) => p.photo);
    },
    readPhoto: (id) => photoRow(id),
    changePhoto(id, input) {
      const row = photoRow(id);
      row.photo = { ...row.photo, ...input };
      return row.photo;
    },
    deletePhoto(id) {
      photoRow(id).deletedAt = new Date().toISOString();
    },
    restorePhoto(id) {
      for (const p of state.photos) if (p.photo.id === id) p.deletedAt = null;
      return photoRow(id).photo;
    },
    addNote(caseId, { text }) {
      caseRow(caseId);
      const note = { id: newId(), caseId, addedAt: new Date().toISOString(), text };
      state.notes.push({ note, deletedAt: null });
      return note;
    },
    listNotes(caseId) {
      caseRow(caseId);
      return state.notes.filter((n) => n.note.caseId === caseId && n.deletedAt === null).map((n) => n.note);
    },
    changeNote(id, { text }) {
      const row = noteRow(id);
      row.note = { ...row.note, text };
      return row.note;
    },
    deleteNote(id) {
      noteRow(id).deletedAt = new Date().toISOString();
    },
    restoreNote(id) {
      for (const n of state.notes) if (n.note.id === id) n.deletedAt = null;
      return noteRow(id).note;
    },
    readChecklist: (id) => state.checklists[recordingRow(id).id] ?? null,
    writeChecklist(id, checklist) {
      state.checklists[recordingRow(id).id] = checklist;
    },
    setMeasuredThreshold(id, measured) {
      const row = caseRow(id);
      delete row.measuredThreshold;
      if (measured !== null) row.measuredThreshold = measured;
      return store.getCase(id);
    },
    readFuseWalk: (id) => state.walks[caseRow(id).id] ?? null,
    writeFuseWalk(id, walk) {
      state.walks[caseRow(id).id] = walk;
    },

    createRecording({ channels, meters = [], ...input }) {
      if (input.caseId !== null) caseRow(input.caseId);
      const id = newId();
      state.recordings.unshift({ ...input, id, durationMs: 0 });
      for (const channel of channels) store.addChannel(id, channel);
      for (const meter of structuredClone(meters)) state.recordedMeters.push({ ...meter, recordingId: id });
      return store.getRecording(id);
    },
    addChannel(recordingId, input) {
      recordingRow(recordingId);
      if (channelsOf(recordingId).some((c) => c.meterKey === input.meterKey && c.key === input.key))
        throw new NightdrawError('conflict');
      state.channels.push({ ...input, id: ++lastId, samples: 0, recordingId, parts: [] });
      return channelOf(state.channels.at(-1)!);
    },
    getRecording: (id) => recordingOf(recordingRow(id)),
    listRecordings: (caseId) =>
      state.recordings.filter((r) => caseId === undefined || r.caseId === caseId).map(recordingOf),
    unfinishedRecordings: () => state.recordings.filter((r) => r.state === 'recording').map(recordingOf),
    stopRecording(id, durationMs) {
      const row = recordingRow(id);
      if (row.state === 'stopped') throw new NightdrawError('conflict');
      Object.assign(row, { state: 'stopped', durationMs });
      return store.getRecording(id);
    },
    moveRecording(id, caseId) {
      const row = recordingRow(id);
      if (caseId !== null) caseRow(caseId);
      row.caseId = caseId;
      for (const d of state.deleted) d.recordings = d.recordings.filter((r) => r !== id);
      return store.getRecording(id);
    },
    deleteRecording(id) {
      if (recordingRow(id).state === 'recording') throw new NightdrawError('conflict');
      state.recordings = state.recordings.filter((r) => r.id !== id);
      delete state.watches[id];
      delete state.checklists[id];
      for (const d of state.deleted) d.recordings = d.recordings.filter((r) => r !== id);
      state.channels = state.channels.filter((c) => c.recordingId !== id);
      state.gaps = state.gaps.filter((g) => g.recordingId !== id);
      state.events = state.events.filter((e) => e.recordingId !== id);
      state.batches = state.batches.filter((b) => b.recordingId !== id);
      state.recordedMeters = state.recordedMeters.filter((m) => m.recordingId !== id);
      state.zeroChecks = state.zeroChecks.filter((c) => c.recordingId !== id);
    },

    readWatch: (id) => state.watches[recordingRow(id).id] ?? null,
    writeWatch(id, settings) {
      delete state.watches[recordingRow(id).id];
      if (settings !== null) state.watches[id] = settings;
    },

    listMeterRecords: () => [...state.meterRecords].sort((a, b) => (a.meterKey < b.meterKey ? -1 : 1)),
    readMeterRecord: (key) => state.meterRecords.find((m) => m.meterKey === key)?.record ?? null,
    writeMeterRecord(meterKey, record) {
      state.meterRecords = state.meterRecords.filter((m) => m.meterKey !== meterKey);
      if (record !== null)
        state.meterRecords.push({ meterKey, record, changedAt: '2026-01-01T00:00:00.000Z' });
    },
    listRecordedMeters(id) {
      recordingRow(id);
      return state.recordedMeters
        .filter((m) => m.recordingId === id)
        .map(({ recordingId: _, ...meter }) => meter)
        .sort((a, b) => (a.meterKey < b.meterKey ? -1 : 1));
    },
    listZeroChecks(id) {
      recordingRow(id);
      return state.zeroChecks
        .filter((c) => c.recordingId === id)
        .map(({ recordingId: _, ...check }) => check)
        .sort((a, b) => a.atMs - b.atMs);
    },
    addZeroCheck(id, check) {
      recordingRow(id);
      state.zeroChecks.push({ ...check, recordingId: id });
    },
    listHeldZeroChecks: () =>
      Object.keys(state.heldZeroChecks)
        .sort()
        .flatMap((key) => state.heldZeroChecks[key]!),
    holdZeroChecks(key, checks) {
      delete state.heldZeroChecks[key];
      if (checks.length > 0) state.heldZeroChecks[key] = [...checks];
    },
    listTaughtMeters: () => [...state.taught],
    addTaughtMeter(description) {
      const text = JSON.stringify(description);
      const same = state.taught.find((t) => JSON.stringify(t.description) === text);
      if (same !== undefined) return same;
      const kept = { id: newId(), addedAt: '2026-01-01T00:00:00.000Z', description };
      state.taught.push(kept);
      return kept;
    },
    deleteTaughtMeter(id) {
      const gone = find(state.taught, (t) => t.id === id);
      state.taught = state.taught.filter((t) => t !== gone);
    },

    commit: (step) =>
      store.atomically(() => {
        recordingRow(step.recordingId);
        if (step.batch !== null) {
          const { meterKey, number } = step.batch;
          const upTo = store.lastBatch(step.recordingId, meterKey);
          if (number <= upTo) return { kind: 'duplicate', upTo };
          if (number > upTo + 1) return { kind: 'out-of-order', expected: upTo + 1 };
          state.batches.push({ recordingId: step.recordingId, meterKey, number });
        }
        const own = channelsOf(step.recordingId);
        for (const { channelId, columns } of step.samples)
          find(own, (c) => c.id === channelId).parts.push(samplesOf(columns));
        for (const gap of step.gaps) {
          find(own, (c) => c.id === gap.channelId);
          state.gaps.push({ ...gap, recordingId: step.recordingId });
        }
        for (const event of step.events) state.events.push({ ...event, recordingId: step.recordingId });
        return { kind: 'stored' };
      }),
    commitAll: (steps) => store.atomically(() => steps.map((step) => store.commit(step))),
    lastBatch: (recordingId, meterKey) =>
      Math.max(
        0,
        ...state.batches
          .filter((b) => b.recordingId === recordingId && b.meterKey === meterKey)
          .map((b) => b.number),
      ),
    readSamples(channelId) {
      const all = find(state.channels, (c) => c.id === channelId).parts.flat();
      return columnsOf(
        all.map((s) => s.t),
        all.map((s) => s.counts),
        all.map((s) => s.scale),
        all.map((s) => s.flags),
      );
    },
    partsOf: (channelId) => [store.readSamples(channelId)],
    zoom: (channelIds, fromMs, toMs, buckets) =>
      channelIds.map((id) => bucketsOf(store.readSamples(id), fromMs, toMs, buckets)),
    listGaps(recordingId) {
      recordingRow(recordingId);
      return state.gaps
        .filter((g) => g.recordingId === recordingId)
        .map(({ recordingId: _, ...gap }) => gap)
        .sort((a, b) => a.startMs - b.startMs);
    },
    listEvents(recordingId) {
      recordingRow(recordingId);
      return state.events
        .filter((e) => e.recordingId === recordingId)
        .map(({ recordingId: _, ...event }) => event)
        .sort((a, b) => a.atMs - b.atMs);
    },

    readSetting: (key) => state.settings.find((s) => s.key === key)?.value ?? null,
    writeSetting(key, value) {
      state.settings = [...state.settings.filter((s) => s.key !== key), { key, value }];
    },
    atomically(work) {
      if (!open) throw new NightdrawError('store-failed');
      const before = structuredClone(state);
      try {
        return work();
      } catch (error) {
        state = before;
        throw error;
      }
    },
    close() {
      open = false;
    },
  };
  return store;
}
