import type { Chart } from '../messages/http.ts';
import type { Recording } from '../messages/records.ts';
import { bucketsOf } from '../samples/buckets.ts';
import type { Store } from '../store/store.ts';

/** All channels of a recording over one span, reduced to what a chart of so many buckets can show. */
export function chartOf(
  store: Pick<Store, 'readSamples'>,
  recording: Recording,
  query: { readonly fromS?: number | undefined; readonly toS?: number | undefined; readonly buckets: number },
): Chart {
  const fromS = query.fromS ?? 0;
  const toS = Math.max(query.toS ?? recording.durationMs / 1000, fromS);
  return {
    fromS,
    toS,
    channels: recording.channels.map(({ id, quantity, label }) => {
      const samples = store.readSamples(id, fromS * 1000, toS * 1000);
      const { raw, t, min, max } = bucketsOf(samples, fromS * 1000, toS * 1000, query.buckets);
      return { channelId: id, quantity, label, raw, t: [...t], min: [...min], max: [...max] };
    }),
  };
}
