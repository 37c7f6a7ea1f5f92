import type { JSX } from 'preact';
import { useState } from 'preact/hooks';
import type { Recording } from '../../server/messages/records.ts';
import { compareChoices } from '../state/compareChoices.ts';
import { hashOf } from '../state/route.ts';
import { LinkButton, SelectField } from './controls.tsx';
import { useLoad } from './hooks.ts';
import { useServices } from './services.ts';

/** The way to before and after: the other recordings of the same case. */
export function CompareWith({ recording }: { readonly recording: Recording }): JSX.Element | null {
  const { api } = useServices();
  const { caseId } = recording;
  const all = useLoad<Recording[]>(caseId, () => api.listRecordings(caseId!));
  const [chosen, setChosen] = useState<string | null>(null);
  const choices = compareChoices(recording, all.value ?? []);
  const choice = choices.find((c) => c.id === chosen) ?? choices[0];
  if (choice === undefined) return null;
  return (
    <section class="compare-with" aria-labelledby="compare-heading">
      <h2 id="compare-heading">Before and after</h2>
      <SelectField
        label="Compare with"
        value={choice.id}
        options={choices.map((c) => ({ value: c.id, label: c.label }))}
        onValue={setChosen}
      />
      <LinkButton href={hashOf({ page: 'compare', before: choice.before, after: choice.after })}>
        Compare
      </LinkButton>
    </section>
  );
}
