import path from 'node:path';
import { openStore } from '../../server/store/openStore.ts';
import type { Store } from '../../server/store/store.ts';
import type { SampleColumns } from '../../server/samples/columns.ts';
import type { Recording } from '../../server/messages/records.ts';
import { timed, type Ground } from './bench.ts';
import type { Month } from './month.ts';

/** One meter that says current and voltage at each instant, as all topics record it. */
export const CHANNELS = (['current', 'voltage'] as const).map((quantity) => ({
  meterKey: 'file:bench',
  meterName: 'Bench',
  driver: 'bench',
  key: quantity,
  quantity,
  label: quantity,
  apertureMs: null,
}));

export function newRecording(store: Store, channels: typeof CHANNELS = CHANNELS): Recording {
  return store.createRecording({
    caseId: null,
    kind: 'overnight-test',
    title: 'Bench',
    startedAt: null,
    zone: null,
    provenance: '',
    state: 'recording',
    channels,
  });
}

/** Instants of the month from one place to another, as the two channels' samples: 1 mA and 1 mV a count; views of the month. */
export function samplesOf(
  { t, current, voltage }: Month,
  from: number,
  to: number,
): [SampleColumns, SampleColumns] {
  const n = to - from;
  const scale = new Int8Array(n).fill(-3);
  const flags = new Uint16Array(n);
  const own = t.subarray(from, to);
  return [
    { length: n, t: own, counts: current.subarray(from, to), scale, flags },
    { length: n, t: own, counts: voltage.subarray(from, to), scale, flags },
  ];
}

/** Instants of one commit of what is written in bulk. */
const BULK = 1 << 16;

/** Writes the month as one recording, all in one transaction. */
export function storeMonth(store: Store, month: Month): Recording {
  return store.atomically(() => {
    const { id, channels } = newRecording(store);
    for (let at = 0; at < month.t.length; at += BULK) {
      const columns = samplesOf(month, at, Math.min(at + BULK, month.t.length));
      const samples = columns.map((c, k) => ({ channelId: channels[k]!.id, columns: c }));
      store.commit({ recordingId: id, samples, gaps: [], events: [], batch: null });
    }
    return store.stopRecording(id, month.t.at(-1)!);
  });
}

export interface Stored {
  readonly store: Store;
  readonly recording: Recording;
  /** The folder of the database, as --data takes it. */
  readonly folder: string;
  /** Seconds of the processor that writing took. */
  readonly seconds: number;
}

const made = new Map<string, Stored>();

/** The first so many instants of the month in a store of their own, made at the first call. */
export function storedMonth(ground: Ground, instants: number): Stored {
  const folder = path.join(ground.folder, `stored-${instants}`);
  const known = made.get(folder);
  if (known !== undefined) return known;
  const month = ground.month(instants);
  const store = openStore(path.join(folder, 'nightdraw.db'));
  const { seconds, result: recording } = timed(() => storeMonth(store, month));
  const stored = { store, recording, folder, seconds };
  made.set(folder, stored);
  return stored;
}

/** So many samples of both channels, to be committed at once. */
export function step(recording: Recording, month: Month, from: number, to: number) {
  return {
    recordingId: recording.id,
    samples: samplesOf(month, from, to).map((columns, k) => ({
      channelId: recording.channels[k]!.id,
      columns,
    })),
    gaps: [],
    events: [],
    batch: null,
  };
}
