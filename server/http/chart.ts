import type { Chart } from '../messages/http.ts';
import type { Recording } from '../messages/records.ts';
import type { Zoom } from '../messages/zoom.ts';
import type { Store } from '../store/store.ts';

export interface ChartQuery {
  readonly fromS?: number | undefined;
  readonly toS?: number | undefined;
  readonly buckets: number;
}

/** All channels of a recording over one span, reduced to what a chart of so many buckets can show. */
export function zoomOf(store: Pick<Store, 'zoom'>, recording: Recording, query: ChartQuery): Zoom {
  const fromS = query.fromS ?? 0;
  const toS = Math.max(query.toS ?? recording.durationMs / 1000, fromS);
  const { buckets } = query;
  const ids = recording.channels.map((c) => c.id);
  const extremes = store.zoom(ids, fromS * 1000, toS * 1000, buckets);
  return {
    fromS,
    toS,
    buckets,
    channels: recording.channels.map(({ id, quantity }, i) => ({
      channelId: id,
      quantity,
      exact: true,
      ...extremes[i]!,
    })),
  };
}

/** The same as JSON, for scripts. */
export function chartOf(store: Pick<Store, 'zoom'>, recording: Recording, query: ChartQuery): Chart {
  const { fromS, toS, channels } = zoomOf(store, recording, query);
  const label = new Map(recording.channels.map((c) => [c.id, c.label]));
  return {
    fromS,
    toS,
    channels: channels.map(({ channelId, quantity, raw, t, min, max }) => ({
      channelId,
      quantity,
      label: label.get(channelId)!,
      raw,
      t: [...t],
      min: [...min],
      max: [...max],
    })),
  };
}
