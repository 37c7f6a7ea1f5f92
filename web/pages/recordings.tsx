import type { JSX } from 'preact';
import type { Case, Recording } from '../../server/messages/records.ts';
import { RecordingLine } from '../parts/caseLines.tsx';
import { LinkButton } from '../parts/controls.tsx';
import { useLoad, useRunning } from '../parts/hooks.ts';
import { ImportCsv } from '../parts/importCsv.tsx';
import { useServices } from '../parts/services.ts';
import { PageTitle, Problem, Waiting } from '../parts/words.tsx';

/** All recordings, newest first. */
export function RecordingsPage(): JSX.Element {
  const { api } = useServices();
  const running = useRunning().map((m) => m.recording.id);
  const list = useLoad<Recording[]>('recordings', () => api.listRecordings(), running.join(' '));
  const cases = useLoad<Case[]>('cases', () => api.listCases());
  const titles = new Map((cases.value ?? []).map((c) => [c.id, c.title]));
  return (
    <>
      <PageTitle title="Recordings" line="Every night and every live watch that was kept, newest first.">
        <LinkButton href="#/live" tone="main">
          Start a recording
        </LinkButton>
        <ImportCsv caseId={null} />
        <LinkButton href="#/verify">Verify a bundle</LinkButton>
      </PageTitle>
      <Problem sentence={list.problem} onRetry={list.reload} />
      {list.value === null && list.problem === null && <Waiting>Reading the recordings.</Waiting>}
      {list.value?.length === 0 && <p class="quiet">No recording yet.</p>}
      <ul class="lines">
        {(list.value ?? []).map((r) => (
          <RecordingLine
            key={r.id}
            item={r}
            caseTitle={r.caseId === null ? null : (titles.get(r.caseId) ?? null)}
          />
        ))}
      </ul>
    </>
  );
}
