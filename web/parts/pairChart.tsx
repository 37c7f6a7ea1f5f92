import type { JSX } from 'preact';
import { useMemo, useState } from 'preact/hooks';
import type { Zoom } from '../../server/messages/zoom.ts';
import { mountSideChart, type SideInput } from '../chart/sideChart.ts';
import { currentAxisTitle, type CurrentScale } from '../state/axis.ts';
import type { Night, Zero } from '../state/comparison.ts';
import { curveOf, extremes, gapsByChannel, type Curve } from '../state/curve.ts';
import { QUANTITY_WORDS } from '../state/describe.ts';
import { Choice } from './controls.tsx';
import { useLoad } from './hooks.ts';
import { Drawn } from './pulsePart.tsx';
import { ScaleChoice } from './scaleChoice.tsx';
import { useServices } from './services.ts';
import { Problem, Waiting } from './words.tsx';

const BUCKETS = 1600;

/** Both nights under each other on one scale of time and of value. */
export function PairChart(p: { readonly before: Night; readonly after: Night }): JSX.Element {
  const { api } = useServices();
  const [scale, setScale] = useState<CurrentScale>('stretched');
  const [zero, setZero] = useState<Zero>('start');
  const ids = [p.before, p.after].map((n) => n.detail.recording.id);
  const pictures = useLoad<Zoom[]>(ids.join(' '), () =>
    Promise.all(ids.map((id) => api.zoom(id, { buckets: BUCKETS }))),
  );
  const both = ['current', 'voltage'] as const;
  const quantities = both.filter((q) =>
    [p.before, p.after].every((n) => n.detail.recording.channels.some((c) => c.quantity === q)),
  );
  const [wanted, setWanted] = useState<'current' | 'voltage'>('current');
  const quantity = quantities.find((q) => q === wanted) ?? quantities[0];
  const canSleep = [p.before, p.after].every((n) => n.findings.sleep.state === 'slept');
  const sides = useMemo(
    () =>
      pictures.value === null || quantity === undefined
        ? null
        : sidesOf([p.before, p.after], pictures.value, quantity, scale, canSleep ? zero : 'start'),
    [p.before, p.after, pictures.value, quantity, scale, zero, canSleep],
  );
  return (
    <section class="pair" aria-labelledby="pair-heading">
      <h2 id="pair-heading">Both nights on one scale</h2>
      <div class="row">
        {quantities.length > 1 && (
          <Choice
            legend="Show"
            value={quantity!}
            options={quantities.map((q) => ({ value: q, label: QUANTITY_WORDS[q] }))}
            onValue={setWanted}
          />
        )}
        {canSleep && (
          <Choice
            legend="Time counts from"
            value={zero}
            options={[
              { value: 'start', label: 'The start' },
              { value: 'sleep', label: 'Falling asleep' },
            ]}
            onValue={setZero}
          />
        )}
        {quantity === 'current' && <ScaleChoice value={scale} onValue={setScale} />}
      </div>
      <Problem sentence={pictures.problem} onRetry={pictures.reload} />
      {quantity === undefined && <p>The two recordings have no quantity in common.</p>}
      {pictures.value === null && pictures.problem === null && <Waiting>Reading both nights.</Waiting>}
      {sides?.map((side, i) => (
        <figure key={i}>
          <figcaption>
            <strong>{i === 0 ? 'Before' : 'After'}</strong>{' '}
            {(i === 0 ? p.before : p.after).detail.recording.title}
          </figcaption>
          {side === null ? <p>No readings.</p> : <Drawn<SideInput> input={side} mount={mountSideChart} />}
        </figure>
      ))}
      {quantity === 'current' && <p class="quiet small">{currentAxisTitle(scale)}.</p>}
    </section>
  );
}

function sidesOf(
  nights: readonly Night[],
  pictures: readonly Zoom[],
  quantity: 'current' | 'voltage',
  scale: CurrentScale,
  zero: Zero,
): (SideInput | null)[] {
  const zeros = nights.map((n) => (zero === 'sleep' ? (n.findings.sleep.timeToSleepS ?? 0) : 0));
  const curves = nights.map(({ detail, findings }, i): Curve | null => {
    const channel = pictures[i]!.channels.find((c) => c.quantity === quantity && c.t.length > 0);
    if (channel === undefined) return null;
    return curveOf(channel, '', gapsByChannel(detail, findings).get(channel.channelId) ?? [], pictures[i]!);
  });
  const seen = curves.filter((c) => c !== null).map(extremes);
  const ends = [
    Math.min(...seen.map((e) => e.min ?? Infinity)),
    Math.max(...seen.map((e) => e.max ?? -Infinity)),
  ] as const;
  const span = [
    Math.min(...pictures.map((z, i) => z.fromS - zeros[i]!)),
    Math.max(...pictures.map((z, i) => z.toS - zeros[i]!)),
  ] as const;
  return curves.map((curve, i) =>
    curve === null ? null : { curve, quantity, scale, zeroS: zeros[i]!, span, ends },
  );
}
