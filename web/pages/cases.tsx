import type { JSX } from 'preact';
import { CaseList } from '../parts/caseLines.tsx';
import { LinkButton } from '../parts/controls.tsx';
import { ImportCsv } from '../parts/importCsv.tsx';
import { PageTitle } from '../parts/words.tsx';

/** All cases. */
export function CasesPage(): JSX.Element {
  return (
    <>
      <PageTitle title="Cases" line="One car, one complaint.">
        <LinkButton href="#/cases/new" tone="main">
          New case
        </LinkButton>
        <ImportCsv caseId={null} />
      </PageTitle>
      <CaseList />
    </>
  );
}
