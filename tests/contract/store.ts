import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { NightdrawError } from '../../server/messages/errors.ts';
import {
  caseInputSchema,
  caseSchema,
  recordingSchema,
  type ChannelInput,
} from '../../server/messages/records.ts';
import { columnsOf, emptyColumns, type SampleColumns } from '../../server/samples/columns.ts';
import type { Commit, NewRecording, Store } from '../../server/store/store.ts';
import { anyColumns } from '../helpers/columns.ts';

export const CASE = caseInputSchema.parse({ title: 'Saloon, flat after a weekend' });

export const CHANNEL: ChannelInput = {
  meterKey: 'server:aa:bb:cc',
  meterName: 'Clamp',
  driver: 'sig-electrical',
  key: '2aee.0',
  quantity: 'current',
  label: 'Current',
  apertureMs: 250,
};

export const NIGHT: NewRecording = {
  caseId: null,
  kind: 'overnight-test',
  title: 'Night',
  startedAt: '2026-01-05T21:13:01.500Z',
  zone: 'Europe/Berlin',
  provenance: 'a test',
  state: 'recording',
  channels: [CHANNEL, { ...CHANNEL, key: '2b18.0', quantity: 'voltage', label: 'Voltage', apertureMs: null }],
};

export function codeOf(work: () => unknown): string {
  try {
    work();
  } catch (error) {
    if (error instanceof NightdrawError) return error.code;
    throw error;
  }
  return 'done';
}

/** One step that stores `columns` in a channel. */
export function stepOf(recordingId: string, channelId: number, columns: SampleColumns): Commit {
  return { recordingId, samples: [{ channelId, columns }], gaps: [], events: [], batch: null };
}

const reading = (t: number, counts = 25) => columnsOf([t], [counts], [-3], [0]);

/** What every Store does, whatever it stands on. */
export function storeContract(name: string, makeStore: () => Store): void {
  const started = () => {
    const store = makeStore();
    const { id, channels } = store.createRecording(NIGHT);
    return { store, id, current: channels[0]!.id, voltage: channels[1]!.id };
  };

  describe(`${name}: cases`, () => {
    test('come back as they were written, newest first, with the number of their recordings', () => {
      const store = makeStore();
      const battery = {
        role: 'auxiliary',
        chemistry: 'agm',
        capacityAh: 12.5,
        ageYears: 4,
        place: 'boot',
      } as const;
      const first = store.createCase({ ...CASE, battery, thresholdV: 11.9, drawLimitA: 0.05 });
      const second = store.createCase({ ...CASE, title: 'Van' }, { demo: true });
      expect(first).toMatchObject({ ...CASE, battery, thresholdV: 11.9, drawLimitA: 0.05, demo: false });
      expect(second).toMatchObject({ demo: true, recordings: 0, battery: null });
      expect(() => caseSchema.parse(first)).not.toThrow();
      store.createRecording({ ...NIGHT, caseId: first.id });
      expect(store.listCases().map((c) => [c.id, c.recordings])).toEqual([
        [second.id, 0],
        [first.id, 1],
      ]);
      expect(store.updateCase(first.id, { ...CASE, title: 'Coupe', notes: 'rain' })).toMatchObject({
        title: 'Coupe',
        notes: 'rain',
        battery: null,
        id: first.id,
      });
    });

    test('leave their recordings behind when they are deleted', () => {
      const store = makeStore();
      const { id: caseId } = store.createCase(CASE);
      const { id } = store.createRecording({ ...NIGHT, caseId });
      store.deleteCase(caseId);
      expect(store.listCases()).toEqual([]);
      expect(store.getRecording(id).caseId).toBeNull();
    });

    test('that are not there are not found', () => {
      const store = makeStore();
      expect(codeOf(() => store.getCase('nope'))).toBe('not-found');
      expect(codeOf(() => store.updateCase('nope', CASE))).toBe('not-found');
      expect(codeOf(() => store.deleteCase('nope'))).toBe('not-found');
      expect(codeOf(() => store.createRecording({ ...NIGHT, caseId: 'nope' }))).toBe('not-found');
      expect(store.listRecordings()).toEqual([]);
    });
  });

  describe(`${name}: recordings`, () => {
    test('come back as they were begun, newest first', () => {
      const { store, id } = started();
      const second = store.createRecording({ ...NIGHT, title: 'Second', channels: [] });
      const first = store.getRecording(id);
      expect(() => recordingSchema.parse(first)).not.toThrow();
      expect(first).toMatchObject({
        title: 'Night',
        state: 'recording',
        startedAt: NIGHT.startedAt,
        zone: 'Europe/Berlin',
        durationMs: 0,
      });
      expect(first.channels.map(({ id: _id, samples: _samples, ...input }) => input)).toEqual(NIGHT.channels);
      expect(store.listRecordings().map((r) => r.id)).toEqual([second.id, id]);
    });

    test('move between cases and are listed by case', () => {
      const { store, id } = started();
      const { id: caseId } = store.createCase(CASE);
      expect(store.moveRecording(id, caseId).caseId).toBe(caseId);
      expect(store.listRecordings(caseId).map((r) => r.id)).toEqual([id]);
      expect(codeOf(() => store.moveRecording(id, 'nope'))).toBe('not-found');
      expect(store.moveRecording(id, null).caseId).toBeNull();
      expect(store.listRecordings(caseId)).toEqual([]);
    });

    test('stop once; readings that come late still count, and lengthen it', () => {
      const { store, id, current } = started();
      store.commit(stepOf(id, current, reading(700)));
      expect(store.getRecording(id).durationMs).toBe(700);
      expect(store.stopRecording(id, 1000)).toMatchObject({ state: 'stopped', durationMs: 1000 });
      expect(codeOf(() => store.stopRecording(id, 2000))).toBe('conflict');
      store.commit(stepOf(id, current, reading(1200.5)));
      expect(store.getRecording(id)).toMatchObject({ state: 'stopped', durationMs: 1200.5 });
    });

    test('that go on are told from those that are stopped, newest first', () => {
      const { store, id, current } = started();
      store.commit(stepOf(id, current, reading(700)));
      const [stopped, second] = [store.createRecording(NIGHT), store.createRecording(NIGHT)];
      store.stopRecording(stopped.id, 0);
      expect(store.unfinishedRecordings()).toEqual([second, store.getRecording(id)]);
    });

    test('take another channel, but none twice', () => {
      const { store, id } = started();
      const added = store.addChannel(id, { ...CHANNEL, key: 'other' });
      expect(added).toEqual({ ...CHANNEL, key: 'other', id: added.id, samples: 0 });
      expect(codeOf(() => store.addChannel(id, CHANNEL))).toBe('conflict');
      expect(codeOf(() => store.addChannel('nope', CHANNEL))).toBe('not-found');
      expect(store.getRecording(id).channels).toHaveLength(3);
    });

    test('are deleted with all that is theirs, but not while they run', () => {
      const { store, id, current } = started();
      const other = store.createRecording(NIGHT);
      store.commit({
        ...stepOf(id, current, reading(1)),
        batch: { meterKey: 'page:a', number: 1 },
        events: [{ atMs: 1, kind: 'note', text: 'x', value: null }],
        gaps: [{ channelId: current, startMs: 1, endMs: 2, reason: 'silent' }],
      });
      store.commit(stepOf(other.id, other.channels[0]!.id, reading(5)));
      expect(codeOf(() => store.deleteRecording(id))).toBe('conflict');
      store.stopRecording(id, 1);
      store.deleteRecording(id);
      expect(codeOf(() => store.getRecording(id))).toBe('not-found');
      expect(codeOf(() => store.readSamples(current))).toBe('not-found');
      expect(codeOf(() => store.listEvents(id))).toBe('not-found');
      expect(store.lastBatch(id, 'page:a')).toBe(0);
      expect(store.readSamples(other.channels[0]!.id)).toEqual(reading(5));
    });

    test('that are not there are not found', () => {
      const store = makeStore();
      for (const work of [
        () => store.getRecording('nope'),
        () => store.stopRecording('nope', 1),
        () => store.moveRecording('nope', null),
        () => store.deleteRecording('nope'),
        () => store.listGaps('nope'),
        () => store.listEvents('nope'),
        () => store.readSamples(77),
        () => store.commit(stepOf('nope', 1, emptyColumns())),
      ])
        expect(codeOf(work)).toBe('not-found');
    });
  });

  describe(`${name}: steps`, () => {
    test('keep samples, gaps and events', () => {
      const { store, id, current, voltage } = started();
      const gap = { channelId: voltage, startMs: 5, endMs: 9.5, reason: 'dropped' } as const;
      const early = { ...gap, startMs: 1, endMs: 2 };
      const event = { atMs: 8, kind: 'clock-step', text: 'back', value: -2000 } as const;
      const note = { atMs: 3, kind: 'note', text: 'rain', value: null } as const;
      const done = store.commit({
        ...stepOf(id, current, reading(0)),
        gaps: [gap, early],
        events: [event, note],
      });
      expect(done).toEqual({ kind: 'stored' });
      store.commit(stepOf(id, current, reading(100, 26)));
      expect(store.readSamples(current)).toEqual(columnsOf([0, 100], [25, 26], [-3, -3], [0, 0]));
      expect(store.readSamples(voltage)).toEqual(emptyColumns());
      expect(store.listGaps(id)).toEqual([early, gap]);
      expect(store.listEvents(id)).toEqual([note, event]);
      expect(store.getRecording(id).channels.map((c) => c.samples)).toEqual([2, 0]);
    });

    test('are kept whole or not at all', () => {
      const { store, id, current } = started();
      const other = store.createRecording(NIGHT).channels[0]!.id;
      const step = stepOf(id, current, reading(1));
      const batch = { meterKey: 'page:a', number: 1 };
      const foreign = { channelId: other, columns: reading(2) };
      expect(codeOf(() => store.commit({ ...step, batch, samples: [...step.samples, foreign] }))).toBe(
        'not-found',
      );
      const nan = { channelId: current, columns: columnsOf([2], [NaN], [0], [0]) };
      expect(codeOf(() => store.commit({ ...step, batch, samples: [...step.samples, nan] }))).toBe(
        'bad-request',
      );
      const gap = { channelId: other, startMs: 0, endMs: 1, reason: 'silent' } as const;
      expect(codeOf(() => store.commit({ ...step, batch, gaps: [gap] }))).toBe('not-found');
      expect(store.readSamples(current)).toEqual(emptyColumns());
      expect(store.lastBatch(id, 'page:a')).toBe(0);
      expect(store.commit({ ...step, batch })).toEqual({ kind: 'stored' });
    });

    test('of several recordings are kept together', () => {
      const { store, id, current } = started();
      const other = store.createRecording(NIGHT);
      const there = other.channels[1]!.id;
      const steps = [stepOf(id, current, reading(1)), stepOf(other.id, there, reading(2))];
      expect(store.commitAll(steps)).toEqual([{ kind: 'stored' }, { kind: 'stored' }]);
      expect([store.readSamples(current).length, store.readSamples(there).length]).toEqual([1, 1]);
      expect(codeOf(() => store.commitAll([...steps, stepOf('nope', 1, reading(3))]))).toBe('not-found');
      expect([store.readSamples(current).length, store.readSamples(there).length]).toEqual([1, 1]);
      expect(store.commitAll([])).toEqual([]);
    });

    test('with numbered batches are stored once and in order', () => {
      const { store, id, current } = started();
      const send = (number: number, meterKey = 'page:a') =>
        store.commit({ ...stepOf(id, current, reading(number)), batch: { meterKey, number } });
      expect(send(2)).toEqual({ kind: 'out-of-order', expected: 1 });
      expect(send(1)).toEqual({ kind: 'stored' });
      expect(send(2)).toEqual({ kind: 'stored' });
      expect(send(1)).toEqual({ kind: 'duplicate', upTo: 2 });
      expect(send(2)).toEqual({ kind: 'duplicate', upTo: 2 });
      expect(send(4)).toEqual({ kind: 'out-of-order', expected: 3 });
      expect(send(1, 'page:b')).toEqual({ kind: 'stored' });
      expect([store.lastBatch(id, 'page:a'), store.lastBatch(id, 'page:b')]).toEqual([2, 1]);
      expect([...store.readSamples(current).t]).toEqual([1, 2, 1]);
    });

    test('of any shape give back every bit, in the order in which they came', { timeout: 60_000 }, () => {
      fc.assert(
        fc.property(fc.array(anyColumns(), { maxLength: 6 }), (parts) => {
          const { store, id, current } = started();
          for (const columns of parts) store.commit(stepOf(id, current, columns));
          const got = store.readSamples(current);
          const flat = (of: (c: SampleColumns) => ArrayLike<number>) =>
            parts.flatMap((c) => Array.from(of(c)));
          expect([...got.t]).toEqual(flat((c) => c.t));
          expect([...got.counts]).toEqual(flat((c) => c.counts));
          expect([...got.scale]).toEqual(flat((c) => c.scale));
          expect([...got.flags]).toEqual(flat((c) => c.flags));
          store.close();
        }),
        { seed: 21, numRuns: 60 },
      );
    });

    test('small and large in turn make one unbroken series', () => {
      const { store, id, current } = started();
      let next = 0;
      for (const size of [1, 5000, 3300, 1, 20_000, 7, 8192, 8191, 2]) {
        const t = Float64Array.from({ length: size }, () => next++ * 100);
        const step = stepOf(
          id,
          current,
          columnsOf(t, t, new Int8Array(size).fill(-3), new Uint16Array(size)),
        );
        store.commit(step);
      }
      const { t, counts, length } = store.readSamples(current);
      expect(length).toBe(next);
      expect(t.every((x, i) => x === i * 100) && counts.every((x, i) => x === i * 100)).toBe(true);
      expect(store.getRecording(id).channels[0]!.samples).toBe(next);
      expect(store.listGaps(id)).toEqual([]);
      const part = store.readSamples(current, 1_000_000, 1_000_100);
      expect([...part.t].filter((x) => x >= 1_000_000 && x <= 1_000_100)).toEqual([1_000_000, 1_000_100]);
    });
  });

  describe(`${name}: zoom`, () => {
    test('gives each live sample where they are few, and the extremes of each part where they are many', () => {
      const { store, id, current, voltage } = started();
      const n = 1000;
      const t = Float64Array.from({ length: n }, (_, i) => i * 10);
      const flags = Uint16Array.from(t, (_, i) => (i === 500 ? 1 : 0));
      const counts = Float64Array.from(t, (_, i) => (i === 500 ? 9e6 : i === 777 ? 1900 : i % 7));
      store.commit(stepOf(id, current, columnsOf(t, counts, new Int8Array(n).fill(-3), flags)));
      const [many, none] = store.zoom([current, voltage], 0, 10_000, 10);
      expect(many).toMatchObject({ raw: false, t: Float64Array.from(many!.t, (_, b) => b + 0.5) });
      expect([...many!.max]).toEqual([0.006, 0.006, 0.006, 0.006, 0.006, 0.006, 0.006, 1.9, 0.006, 0.006]);
      expect(none).toEqual({
        raw: true,
        t: new Float64Array(),
        min: new Float64Array(),
        max: new Float64Array(),
      });
      const [few] = store.zoom([current], 4990, 5010, 10);
      expect(few).toMatchObject({ raw: true, t: Float64Array.of(4.99, 5.01) });
      expect(few!.max).toEqual(Float64Array.of((499 % 7) / 1000, (501 % 7) / 1000));
      expect(codeOf(() => store.zoom([77], 0, 1, 10))).toBe('not-found');
      expect(() => store.zoom([current], 2, 1, 10)).toThrow(RangeError);
      expect(() => store.zoom([current], 1, 2, 0)).toThrow(RangeError);
    });
  });

  describe(`${name}: whole`, () => {
    test('work done together is kept together', () => {
      const { store, id, current } = started();
      expect(() =>
        store.atomically(() => {
          store.commit(stepOf(id, current, reading(1)));
          store.createCase(CASE);
          store.writeSetting('a', 'b');
          throw new Error('changed my mind');
        }),
      ).toThrow('changed my mind');
      expect(store.readSamples(current).length).toBe(0);
      expect(store.listCases()).toEqual([]);
      expect(store.readSetting('a')).toBeNull();
      const made = store.atomically(() => {
        codeOf(() =>
          store.atomically(() => store.commit(stepOf(id, current, columnsOf([NaN], [1], [0], [0])))),
        );
        return store.createCase(CASE);
      });
      expect(store.getCase(made.id)).toEqual(made);
    });

    test('settings keep their last value', () => {
      const store = makeStore();
      expect(store.readSetting('x')).toBeNull();
      store.writeSetting('x', '1');
      store.writeSetting('x', '2');
      expect(store.readSetting('x')).toBe('2');
    });

    test('a closed store refuses to write', () => {
      const { store, id, current } = started();
      store.close();
      expect(codeOf(() => store.commit(stepOf(id, current, reading(1))))).toBe('store-failed');
    });
  });
}
