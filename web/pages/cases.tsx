import type { JSX } from 'preact';
import type { Case } from '../../server/messages/records.ts';
import { casesInOrder } from '../state/recordings.ts';
import { CaseLine } from '../parts/caseLines.tsx';
import { LinkButton } from '../parts/controls.tsx';
import { useConnection, useLoad } from '../parts/hooks.ts';
import { ImportCsv } from '../parts/importCsv.tsx';
import { useServices } from '../parts/services.ts';
import { PageTitle, Problem, Waiting } from '../parts/words.tsx';

/** All cases. */
export function CasesPage(): JSX.Element {
  const { api } = useServices();
  const connection = useConnection();
  const cases = useLoad<Case[]>(`cases ${connection.state}`, () => api.listCases());
  return (
    <>
      <PageTitle title="Cases" line="One car, one complaint.">
        <LinkButton href="#/cases/new" tone="main">
          New case
        </LinkButton>
        <ImportCsv caseId={null} />
      </PageTitle>
      <Problem sentence={cases.problem} onRetry={cases.reload} />
      {cases.value === null && cases.problem === null && <Waiting>Reading the cases.</Waiting>}
      {cases.value?.length === 0 && <p class="quiet">No case yet.</p>}
      <ul class="lines">
        {casesInOrder(cases.value ?? []).map((c) => (
          <CaseLine key={c.id} item={c} />
        ))}
      </ul>
    </>
  );
}
