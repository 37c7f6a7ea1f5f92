import type { JSX } from 'preact';
import { useState } from 'preact/hooks';
import { UNDO_DAYS, type CaseTimeline } from '../../server/messages/casePapers.ts';
import type { Case } from '../../server/messages/records.ts';
import { caseApi } from '../state/caseApi.ts';
import { caseFacts, explanationsOf } from '../state/caseFacts.ts';
import { isArchived } from '../state/caseSearch.ts';
import { deletionText } from '../state/recordings.ts';
import { hashOf } from '../state/route.ts';
import { Timeline } from '../parts/caseTimeline.tsx';
import { Button, Confirm, LinkButton } from '../parts/controls.tsx';
import { useAction, useLoad, useRunning } from '../parts/hooks.ts';
import { ImportCsv } from '../parts/importCsv.tsx';
import { AddPapers } from '../parts/papers.tsx';
import { useServices } from '../parts/services.ts';
import { offerUndo } from '../parts/undo.tsx';
import { PageTitle, Problem, Tag, Waiting } from '../parts/words.tsx';

/** One car, one complaint: what is known of it, and everything that happened on one timeline. */
export function CasePage(p: { readonly id: string }): JSX.Element {
  const { api } = useServices();
  const running = useRunning()
    .map((m) => m.recording.id)
    .join(' ');
  const loaded = useLoad<Case>(p.id, () => api.getCase(p.id));
  const timeline = useLoad<CaseTimeline>(p.id, () => caseApi(api).timeline(p.id), running);
  const item = loaded.value;
  if (item === null)
    return loaded.problem === null ? (
      <Waiting>Reading the case.</Waiting>
    ) : (
      <>
        <PageTitle title="Case" />
        <Problem sentence={loaded.problem} onRetry={loaded.reload} />
      </>
    );
  return (
    <>
      <PageTitle
        title={item.title}
        line={
          <>
            {item.demo && <Tag kind="demo">Demo, made by the virtual car</Tag>}
            {isArchived(item) && <Tag>Archived</Tag>}
          </>
        }
      >
        <LinkButton href={hashOf({ page: 'live', caseId: item.id })} tone="main">
          Start a recording
        </LinkButton>
        <LinkButton href={hashOf({ page: 'preflight', caseId: item.id })}>Overnight test</LinkButton>
        <LinkButton href={hashOf({ page: 'fuses', caseId: item.id })}>Find the circuit</LinkButton>
        <LinkButton href={hashOf({ page: 'case-edit', id: item.id })}>Edit</LinkButton>
      </PageTitle>
      <CaseFacts item={item} />
      <Explanations item={item} />
      <section class="timeline-part" aria-labelledby="timeline-heading">
        <h2 id="timeline-heading">Timeline</h2>
        <AddPapers caseId={item.id} onAdded={timeline.reload} />
        <Problem sentence={timeline.problem} onRetry={timeline.reload} />
        {timeline.value === null && timeline.problem === null && <Waiting>Reading the timeline.</Waiting>}
        {timeline.value !== null && <Timeline all={timeline.value} onChanged={timeline.reload} />}
      </section>
      <Put item={item} onChanged={loaded.reload} />
    </>
  );
}

function CaseFacts(p: { readonly item: Case }): JSX.Element {
  const facts = caseFacts(p.item);
  return facts.length === 0 ? (
    <p class="quiet">Nothing noted about this car yet.</p>
  ) : (
    <dl class="facts">
      {facts.map(({ name, text, note }) => (
        <div key={name}>
          <dt>{name}</dt>
          <dd>
            {text}
            {note !== null && <span class="note">{note}</span>}
          </dd>
        </div>
      ))}
    </dl>
  );
}

/** What normal use could explain, before anything is blamed. */
function Explanations(p: { readonly item: Case }): JSX.Element {
  const { may, ruledOut, open } = explanationsOf(p.item);
  return (
    <section class="explanations" aria-labelledby="explanations-heading">
      <h2 id="explanations-heading">What normal use could explain</h2>
      {may.length > 0 && (
        <ul>
          {may.map(({ id, what, explains }) => (
            <li key={id}>
              <strong>{what}</strong> <span>{explains}</span>
            </li>
          ))}
        </ul>
      )}
      <p class="quiet">
        {may.length === 0 && open === 0 && 'Nothing found. '}
        {ruledOut > 0 && `${ruledOut} ruled out. `}
        {open > 0 && (
          <a href={hashOf({ page: 'case-edit', id: p.item.id })}>
            {open === 1 ? '1 question is' : `${open} questions are`} still open
          </a>
        )}
      </p>
    </section>
  );
}

/** Where the case is kept, and its end. */
function Put(p: { readonly item: Case; readonly onChanged: () => void }): JSX.Element {
  const { api } = useServices();
  const { item } = p;
  const [asking, setAsking] = useState(false);
  const archiving = useAction();
  const deletion = useAction();
  const away = isArchived(item);
  return (
    <section class="case-end" aria-label="Keep or remove this case">
      <div class="row">
        <ImportCsv caseId={item.id} />
        <Button
          busy={archiving.busy}
          onPress={() =>
            archiving.run(async () => {
              await caseApi(api).archive(item.id, !away);
              p.onChanged();
            })
          }
        >
          {away ? 'Take out of the archive' : 'Archive'}
        </Button>
        <Button tone="danger" onPress={() => setAsking(true)}>
          Delete
        </Button>
      </div>
      <Problem sentence={archiving.problem} />
      {asking && (
        <Confirm
          title={`Delete "${item.title}"?`}
          yes="Delete the case"
          busy={deletion.busy}
          problem={deletion.problem}
          onNo={() => setAsking(false)}
          onYes={() =>
            deletion.run(async () => {
              await api.deleteCase(item.id);
              offerUndo(`Deleted: ${item.title}.`, async () => {
                await caseApi(api).restore(item.id);
                location.hash = hashOf({ page: 'case', id: item.id });
              });
              location.hash = '#/cases';
            })
          }
        >
          {deletionText(item.recordings, UNDO_DAYS)}
        </Confirm>
      )}
    </section>
  );
}
