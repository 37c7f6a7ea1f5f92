import type { JSX } from 'preact';
import { useEffect, useRef } from 'preact/hooks';
import { mountLiveChart } from '../chart/liveChart.ts';
import { useServices } from './services.ts';

/** The last 60 s of one channel, moving. */
export function LiveChart(p: {
  readonly quantity: 'voltage' | 'current';
  readonly channel: string;
}): JSX.Element {
  const { board, sync } = useServices();
  const host = useRef<HTMLDivElement>(null);
  useEffect(
    () =>
      mountLiveChart(host.current!, p.quantity, {
        trace: () => board.trace(p.channel),
        nowMs: () => sync.serverNowMs(),
      }),
    [p.quantity, p.channel, board, sync],
  );
  return (
    <figure class="running">
      <figcaption>
        {p.quantity === 'voltage' ? 'Voltage' : 'Current'}, last 60 s
        {p.quantity === 'current' && <span class="quiet"> · even below 10 mA, by decades above</span>}
      </figcaption>
      <div class="running-plot" ref={host} />
    </figure>
  );
}
