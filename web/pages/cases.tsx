import type { JSX } from 'preact';
import { useState } from 'preact/hooks';
import { UNDO_DAYS } from '../../server/messages/casePapers.ts';
import type { Case } from '../../server/messages/records.ts';
import { caseApi } from '../state/caseApi.ts';
import type { Shelf } from '../state/caseSearch.ts';
import { goesOnText } from '../state/recordings.ts';
import { hashOf } from '../state/route.ts';
import { CaseList } from '../parts/caseLines.tsx';
import { Button, Choice, LinkButton, TextField } from '../parts/controls.tsx';
import { useAction, useLoad } from '../parts/hooks.ts';
import { ImportCsv } from '../parts/importCsv.tsx';
import { useServices } from '../parts/services.ts';
import { PageTitle, Problem } from '../parts/words.tsx';

/** All cases: looked for by plate, VIN, complaint or name. */
export function CasesPage(): JSX.Element {
  const [asked, setAsked] = useState('');
  const [shelf, setShelf] = useState<Shelf>('open');
  return (
    <>
      <PageTitle title="Cases" line="One car, one complaint.">
        <LinkButton href="#/cases/new" tone="main">
          New case
        </LinkButton>
        <ImportCsv caseId={null} />
      </PageTitle>
      <div class="form-grid case-search" role="search">
        <TextField
          label="Find: plate, VIN, complaint, name"
          maxLength={120}
          value={asked}
          onValue={setAsked}
        />
        <Choice
          legend="Which"
          value={shelf}
          options={[
            { value: 'open', label: 'Open' },
            { value: 'archived', label: 'Archived' },
          ]}
          onValue={setShelf}
        />
      </div>
      <CaseList asked={asked} shelf={shelf} onShelf={setShelf} />
      <DeletedCases />
    </>
  );
}

/** The way back for what was deleted, as long as there is one. */
function DeletedCases(): JSX.Element | null {
  const { api } = useServices();
  const papers = caseApi(api);
  const gone = useLoad<Case[]>('deleted', () => papers.deleted());
  const action = useAction();
  if (gone.value === null || gone.value.length === 0) return <Problem sentence={gone.problem} />;
  return (
    <details class="fold">
      <summary>Deleted cases</summary>
      <div class="fold-body">
        <p class="quiet">Each can be brought back for {UNDO_DAYS} days, then it is removed for good.</p>
        <ul class="lines">
          {gone.value.map((c) => (
            <li key={c.id} class="line">
              <strong class="line-main">{c.title}</strong>
              <Button
                label={`Bring back ${c.title}`}
                busy={action.busy}
                onPress={() =>
                  action.run(async () => {
                    await papers.restore(c.id);
                    location.hash = hashOf({ page: 'case', id: c.id });
                  })
                }
              >
                Bring back
              </Button>
              <p class="quiet">{goesOnText(c.deletedAt ?? null, UNDO_DAYS)}</p>
            </li>
          ))}
        </ul>
        <Problem sentence={action.problem} />
      </div>
    </details>
  );
}
