import type { JSX } from 'preact';
import { displayFigure, figureLine, NO_FIGURE, roundedFigure } from '../state/figure.ts';
import { chosenChannel, freshness, inOrderOfTrust } from '../state/live.ts';
import { SelectField } from './controls.tsx';
import { Dial } from './dial.tsx';
import { useMeters, useTicker } from './hooks.ts';
import { useServices } from './services.ts';

/** One quantity so large that it is read from the door: the meter's digits, its place on the dial, the lowest held. */
export function LiveFigure(p: {
  readonly quantity: 'voltage' | 'current';
  readonly wanted: string | null;
  readonly onWanted: (id: string) => void;
  readonly zoneBelow: number | null;
}): JSX.Element | null {
  const { board, sync } = useServices();
  const meters = useMeters();
  useTicker(10);
  const channel = chosenChannel(board.channels(), p.quantity, p.wanted);
  if (channel === null) return null;
  const fit = inOrderOfTrust(board.channels().filter((c) => c.quantity === p.quantity));
  const now = sync.serverNowMs();
  const state = freshness(channel, now);
  const figure = displayFigure(p.quantity, channel.text);
  const lowest = p.quantity === 'voltage' ? board.lowest(channel.id) : null;
  const name = meters.find((m) => m.key === channel.meterKey)?.name ?? channel.meterKey;
  const shown = figure.digits === '' ? NO_FIGURE : figure.digits;
  return (
    <section
      class={`live-figure ${p.quantity} ${state}`}
      aria-label={p.quantity === 'voltage' ? 'Voltage' : 'Current'}
    >
      <header>
        <h2>{p.quantity === 'voltage' ? 'Voltage' : 'Current'}</h2>
        {fit.length > 1 ? (
          <SelectField
            label="Meter"
            value={channel.id}
            options={fit.map((c) => ({
              value: c.id,
              label: meters.find((m) => m.key === c.meterKey)?.name ?? c.meterKey,
            }))}
            onValue={p.onWanted}
          />
        ) : (
          <span class="quiet">{name}</span>
        )}
      </header>
      <p class="huge">
        <span class={`digits${shown.length > 6 ? ' long' : ''}`}>{shown}</span>
        <span class="unit">{figure.unit}</span>
      </p>
      <Dial
        quantity={p.quantity}
        value={channel.value}
        held={lowest?.value ?? null}
        zoneBelow={p.zoneBelow}
        old={state === 'old'}
      />
      {state === 'old' && (
        <p class="old-line" role="status">
          {channel.live
            ? `No reading for ${agoText(now, channel.atMs)}`
            : 'The meter shows no live value (hold, overload or blank)'}
        </p>
      )}
      {lowest !== null && (
        <div class="held">
          <span>Lowest held</span>
          <strong>
            {lowest.text === ''
              ? figureLine(roundedFigure('voltage', lowest.value))
              : figureLine(displayFigure('voltage', lowest.text))}
          </strong>
          <button type="button" class="as-link" onClick={() => board.release()}>
            Let go
          </button>
        </div>
      )}
    </section>
  );
}

function agoText(now: number | null, atMs: number): string {
  return now === null ? 'a while' : `${Math.max(0, Math.round((now - atMs) / 1000))} s`;
}
