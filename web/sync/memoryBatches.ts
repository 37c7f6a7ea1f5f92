import { latestIn, samplesIn } from './batchCut.ts';
import { NoStream, streamId, type BatchStore, type StoredBatch, type Stream } from './batchStore.ts';
import type { KnownMeter } from './meterKeys.ts';

/** Batches in memory, for browsers that give a page no storage. */
export function memoryBatches(): BatchStore {
  const streams = new Map<string, Stream>();
  const batches = new Map<string, StoredBatch[]>();
  const meters = new Map<string, KnownMeter>();

  return {
    survivesReload: false,
    async openStream(recordingId, meterKey) {
      const id = streamId(recordingId, meterKey);
      const stored = streams.get(id);
      const stream = stored ?? { id, recordingId, meterKey, nextSeq: 1, shift: 0, lastMs: null };
      streams.set(id, stream);
      return { stream, fresh: !stored };
    },
    streams: async () => [...streams.values()],
    async append(id, body, utcMs) {
      const stream = streams.get(id);
      if (!stream) throw new NoStream();
      const batch = { seq: stream.nextSeq, body, samples: samplesIn(body), utcMs };
      streams.set(id, { ...stream, nextSeq: batch.seq + 1, lastMs: latestIn(body) ?? stream.lastMs });
      batches.set(id, [...(batches.get(id) ?? []), batch]);
      return batch;
    },
    async head(id) {
      const stream = streams.get(id);
      const batch = batches.get(id)?.[0];
      return stream && batch ? { stream, batch } : null;
    },
    async setShift(id, shift) {
      const stream = streams.get(id);
      if (!stream) throw new NoStream();
      streams.set(id, { ...stream, shift });
    },
    async remove(id, seq, shift) {
      const stream = streams.get(id);
      if (stream) streams.set(id, { ...stream, shift });
      batches.set(
        id,
        (batches.get(id) ?? []).filter((b) => b.seq !== seq),
      );
    },
    async drop(id) {
      streams.delete(id);
      batches.delete(id);
    },
    async waiting() {
      return [...batches]
        .filter(([, list]) => list.length > 0)
        .map(([id, list]) => ({
          streamId: id,
          batches: list.length,
          samples: list.reduce((sum, b) => sum + b.samples, 0),
          oldestUtcMs: list[0]!.utcMs,
        }));
    },
    meters: async () => [...meters.values()],
    async keepMeter(meter) {
      meters.set(meter.key, meter);
    },
    close: () => undefined,
  };
}
