import { openDB, type DBSchema } from 'idb';
import { latestIn, samplesIn, type BatchBody } from './batchCut.ts';
import {
  NoStream,
  streamId,
  type BatchStore,
  type StoredBatch,
  type Stream,
  type Waiting,
} from './batchStore.ts';
import type { KnownMeter } from './meterKeys.ts';

interface Schema extends DBSchema {
  streams: { key: string; value: Stream };
  batches: { key: [string, number]; value: StoredBatch };
  meters: { key: string; value: KnownMeter };
}

/** Every batch of a stream, whatever its number. */
const allOf = (id: string): IDBKeyRange => IDBKeyRange.bound([id, 0], [id, Infinity]);

/** Batches in the browser's IndexedDB. @throws whatever the browser throws where it gives no storage */
export async function openStoredBatches(name = 'nightdraw'): Promise<BatchStore> {
  const db = await openDB<Schema>(name, 1, {
    upgrade(fresh) {
      fresh.createObjectStore('streams', { keyPath: 'id' });
      fresh.createObjectStore('batches');
      fresh.createObjectStore('meters', { keyPath: 'key' });
    },
  });

  function known(stream: Stream | undefined): Stream {
    if (!stream) throw new NoStream();
    return stream;
  }

  return {
    survivesReload: true,

    async openStream(recordingId, meterKey) {
      const id = streamId(recordingId, meterKey);
      const tx = db.transaction('streams', 'readwrite');
      const stored = await tx.store.get(id);
      const stream = stored ?? { id, recordingId, meterKey, nextSeq: 1, shift: 0, lastMs: null };
      if (!stored) await tx.store.put(stream);
      await tx.done;
      return { stream, fresh: !stored };
    },

    streams: () => db.getAll('streams'),

    async append(id, body: BatchBody, utcMs) {
      const tx = db.transaction(['streams', 'batches'], 'readwrite');
      const streams = tx.objectStore('streams');
      const stream = known(await streams.get(id));
      const batch = { seq: stream.nextSeq, body, samples: samplesIn(body), utcMs };
      await Promise.all([
        tx.objectStore('batches').put(batch, [id, batch.seq]),
        streams.put({ ...stream, nextSeq: batch.seq + 1, lastMs: latestIn(body) ?? stream.lastMs }),
        tx.done,
      ]);
      return batch;
    },

    async head(id) {
      const tx = db.transaction(['streams', 'batches']);
      const [stream, cursor] = await Promise.all([
        tx.objectStore('streams').get(id),
        tx.objectStore('batches').openCursor(allOf(id)),
      ]);
      return stream && cursor ? { stream, batch: cursor.value } : null;
    },

    async setShift(id, shift) {
      const tx = db.transaction('streams', 'readwrite');
      const stream = known(await tx.store.get(id));
      await Promise.all([tx.store.put({ ...stream, shift }), tx.done]);
    },

    async remove(id, seq, shift) {
      const tx = db.transaction(['streams', 'batches'], 'readwrite');
      const streams = tx.objectStore('streams');
      const stream = await streams.get(id);
      if (stream && stream.shift !== shift) await streams.put({ ...stream, shift });
      await Promise.all([tx.objectStore('batches').delete([id, seq]), tx.done]);
    },

    async drop(id) {
      const tx = db.transaction(['streams', 'batches'], 'readwrite');
      await Promise.all([
        tx.objectStore('streams').delete(id),
        tx.objectStore('batches').delete(allOf(id)),
        tx.done,
      ]);
    },

    async waiting() {
      const found = new Map<string, Waiting>();
      const tx = db.transaction('batches');
      for await (const cursor of tx.store) {
        const [id] = cursor.key;
        const { samples, utcMs } = cursor.value;
        const before = found.get(id);
        found.set(id, {
          streamId: id,
          batches: (before?.batches ?? 0) + 1,
          samples: (before?.samples ?? 0) + samples,
          oldestUtcMs: before?.oldestUtcMs ?? utcMs,
        });
      }
      return [...found.values()];
    },

    meters: () => db.getAll('meters'),
    async keepMeter(meter) {
      await db.put('meters', meter);
    },
    close: () => db.close(),
  };
}
