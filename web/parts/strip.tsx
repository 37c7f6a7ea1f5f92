import type { JSX } from 'preact';
import type { Zoom } from '../../server/messages/zoom.ts';
import { stripPath } from '../state/strip.ts';
import { useLoad } from './hooks.ts';
import { useServices } from './services.ts';

/** A recording at a glance: its current (or else its voltage) as a silhouette on one line. */
export function Strip(p: { readonly recordingId: string; readonly stamp: string }): JSX.Element {
  const { api } = useServices();
  const chart = useLoad<Zoom>(`${p.recordingId} ${p.stamp}`, () => api.zoom(p.recordingId, { buckets: 240 }));
  const path = chart.value === null ? null : stripPath(chart.value);
  return (
    <svg
      class={`strip ${path?.quantity ?? ''}`}
      viewBox="0 0 240 40"
      preserveAspectRatio="none"
      aria-hidden="true"
    >
      {path !== null && (
        <>
          <path class="peaks" d={path.peaks} />
          <path d={path.floor} />
        </>
      )}
    </svg>
  );
}
