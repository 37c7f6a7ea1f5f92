import type { JSX } from 'preact';
import { useEffect, useRef, useState } from 'preact/hooks';
import type { Findings } from '../../server/messages/findings.ts';
import type { Pulses } from '../../server/messages/pulses.ts';
import { mountFoldChart, type FoldInput } from '../chart/foldChart.ts';
import { mountPeriodChart, type PeriodInput } from '../chart/periodChart.ts';
import type { Plot } from '../chart/plot.ts';
import type { Beginning } from '../state/clocktime.ts';
import { regimeLabel } from '../state/marks.ts';
import { foldable, foldSentence, periodSentence } from '../state/pulses.ts';
import { Choice } from './controls.tsx';
import { useLoad } from './hooks.ts';
import { useServices } from './services.ts';
import { Problem, Waiting } from './words.tsx';

/** Polling from nearby, one regime at a time: its pulses laid over each other, and its period over time. */
export function PulsePart(p: {
  readonly recordingId: string;
  readonly findings: Findings;
  readonly begin: Beginning;
}): JSX.Element | null {
  const { api } = useServices();
  const [chosen, setChosen] = useState(0);
  const regimes = foldable(p.findings);
  const which = Math.min(chosen, regimes.length - 1);
  const one = regimes[which];
  const loaded = useLoad<Pulses>(
    one === undefined ? null : `${p.recordingId} ${which}`,
    () => api.pulses(p.recordingId, one!.query),
    JSON.stringify(one?.query ?? null),
  );
  if (one === undefined) return null;
  const pulses = loaded.value;
  return (
    <section class="pulses" aria-labelledby="pulses-heading">
      <h2 id="pulses-heading">Polling from nearby</h2>
      {regimes.length > 1 && (
        <Choice
          legend="Rate"
          value={String(which)}
          options={regimes.map(({ regime }, i) => ({ value: String(i), label: regimeLabel(regime) }))}
          onValue={(value) => setChosen(Number(value))}
        />
      )}
      <Problem sentence={loaded.problem} onRetry={loaded.reload} />
      {pulses === null && loaded.problem === null && <Waiting>Laying the pulses over each other.</Waiting>}
      {pulses !== null && (
        <div class="pulse-charts">
          <figure>
            <figcaption>
              <strong>Folded pulse.</strong>{' '}
              {pulses.fold === null
                ? 'The readings show no shape.'
                : `${foldSentence(pulses.fold, one.query.quantity)}.`}
              {pulses.share < 1 &&
                ` From ${Math.max(1, Math.round(pulses.share * 100))} % of the regime, evenly spread.`}
            </figcaption>
            {pulses.fold !== null && (
              <Drawn<FoldInput>
                input={{ fold: pulses.fold, quantity: one.query.quantity }}
                mount={mountFoldChart}
              />
            )}
          </figure>
          <figure>
            <figcaption>
              <strong>Period over time.</strong> {periodSentence(pulses.period)}
            </figcaption>
            {pulses.period.atS.length > 1 && (
              <Drawn<PeriodInput>
                input={{ period: pulses.period, begin: p.begin }}
                mount={mountPeriodChart}
              />
            )}
          </figure>
        </div>
      )}
    </section>
  );
}

/** A small chart in its box; the sentence beside it says what it shows. */
export function Drawn<T>(p: {
  readonly input: T;
  readonly mount: (host: HTMLElement, input: T) => Plot<T>;
}): JSX.Element {
  const host = useRef<HTMLDivElement>(null);
  const plot = useRef<Plot<T> | null>(null);
  useEffect(() => {
    plot.current = p.mount(host.current!, p.input);
    return () => plot.current?.destroy();
  }, [p.mount]);
  const first = useRef(true);
  useEffect(() => {
    if (!first.current) plot.current?.update(p.input);
    first.current = false;
  }, [p.input]);
  return <div class="small-plot" ref={host} />;
}
