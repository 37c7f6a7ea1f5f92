import { useEffect, useRef, useState } from 'preact/hooks';
import type { Zoom } from '../../server/messages/zoom.ts';
import { sentenceOf } from '../state/api.ts';
import { Pictures } from '../state/pictures.ts';
import type { TimeWindow } from '../state/window.ts';
import { useServices } from './services.ts';

export interface ChartData {
  /** The finest that has arrived and covers the view. */
  readonly picture: Zoom | null;
  readonly loading: boolean;
  readonly problem: string | null;
  readonly retry: () => void;
}

/** Extremes for the view, fetched as it changes. */
export function useChartData(
  recordingId: string,
  view: TimeWindow,
  whole: TimeWindow,
  widthPx: number,
): ChartData {
  const { api } = useServices();
  const [, setTurn] = useState(0);
  const pictures = useRef<{ id: string; shelf: Pictures } | null>(null);
  if (pictures.current?.id !== recordingId) {
    pictures.current?.shelf.close();
    const shelf = new Pictures({
      ask: (plan) => {
        const stop = new AbortController();
        return { picture: api.zoom(recordingId, plan, stop.signal), cancel: () => stop.abort() };
      },
      changed: () => setTurn((n) => n + 1),
    });
    pictures.current = { id: recordingId, shelf };
  }
  const { shelf } = pictures.current;
  useEffect(() => () => pictures.current?.shelf.close(), []);
  shelf.look(view, whole, widthPx);
  return {
    picture: shelf.best(),
    loading: shelf.loading,
    problem: shelf.error === null ? null : sentenceOf(shelf.error),
    retry: () => shelf.retry(),
  };
}
