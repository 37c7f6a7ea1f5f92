import type { JSX } from 'preact';
import { useMemo } from 'preact/hooks';
import {
  comparedRows,
  compareNights,
  type ComparedRow,
  type Night,
  type Place,
} from '../state/comparison.ts';
import { hashOf } from '../state/route.ts';
import { LinkButton } from '../parts/controls.tsx';
import { useLoad } from '../parts/hooks.ts';
import { PairChart } from '../parts/pairChart.tsx';
import { useServices } from '../parts/services.ts';
import { PageTitle, Problem, Waiting } from '../parts/words.tsx';

/** Before and after: two recordings on one scale, with what changed and by how much that is certain. */
export function ComparePage(p: { readonly before: string; readonly after: string }): JSX.Element {
  const { api } = useServices();
  const load = async (id: string): Promise<Night> => {
    const [detail, findings] = await Promise.all([api.getRecording(id), api.findings(id)]);
    return { detail, findings };
  };
  const nights = useLoad<readonly [Night, Night]>(`${p.before} ${p.after}`, () =>
    Promise.all([load(p.before), load(p.after)]),
  );
  const comparison = useMemo(
    () => (nights.value === null ? null : compareNights(...nights.value)),
    [nights.value],
  );
  if (nights.value === null || comparison === null)
    return (
      <>
        <PageTitle title="Before and after" />
        {nights.problem === null ? (
          <Waiting>Working out both nights.</Waiting>
        ) : (
          <Problem sentence={nights.problem} onRetry={nights.reload} />
        )}
      </>
    );
  const [before, after] = nights.value;
  const rows = comparedRows(comparison);
  return (
    <>
      <PageTitle title="Before and after" line={`${comparison.before.title}, then ${comparison.after.title}`}>
        <LinkButton href={hashOf({ page: 'night', id: p.before })}>The night before</LinkButton>
        <LinkButton href={hashOf({ page: 'night', id: p.after })}>The night after</LinkButton>
        <LinkButton href={hashOf({ page: 'compare', before: p.after, after: p.before })}>
          The other way round
        </LinkButton>
      </PageTitle>
      <section aria-labelledby="says-heading" class="says">
        <h2 id="says-heading">What changed</h2>
        <ul class="because">
          {comparison.says.map((s) => (
            <li key={s}>{s}</li>
          ))}
        </ul>
      </section>
      <PairChart before={before} after={after} />
      {rows.length > 0 && (
        <section aria-labelledby="figures-heading" class="compared">
          <h2 id="figures-heading">Figure by figure</h2>
          <p class="quiet small">Each pair on one scale; the lines show the uncertainty, k = 2.</p>
          <dl>
            {rows.map((row) => (
              <Row key={row.label} row={row} />
            ))}
          </dl>
        </section>
      )}
    </>
  );
}

function Row({ row }: { readonly row: ComparedRow }): JSX.Element {
  return (
    <div class={`compared-row ${row.verdict}`}>
      <dt>{row.label}</dt>
      <dd>
        <Whisker name="Before" place={row.before} />
        <Whisker name="After" place={row.after} />
      </dd>
      <dd class="compared-change">{row.change}</dd>
    </div>
  );
}

function Whisker({ name, place }: { readonly name: string; readonly place: Place }): JSX.Element {
  const percent = (share: number): string => `${(Math.min(1, Math.max(0, share)) * 100).toFixed(2)}%`;
  return (
    <div class={`whisker ${name.toLowerCase()}`}>
      <span>{name}</span>
      <span class="whisker-line" aria-hidden="true">
        <span
          class="whisker-spread"
          style={{ left: percent(place.from), width: percent(place.to - place.from) }}
        />
        <span class="whisker-dot" style={{ left: percent(place.at) }} />
      </span>
      <strong>{place.text}</strong>
    </div>
  );
}
