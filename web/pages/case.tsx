import type { JSX } from 'preact';
import { useState } from 'preact/hooks';
import type { Case, Recording } from '../../server/messages/records.ts';
import { vinNote } from '../../server/messages/vin.ts';
import { batteryText } from '../state/caseForm.ts';
import { deletionText } from '../state/recordings.ts';
import { hashOf } from '../state/route.ts';
import { RecordingLine } from '../parts/caseLines.tsx';
import { Button, Confirm, LinkButton } from '../parts/controls.tsx';
import { useAction, useLoad, useRunning } from '../parts/hooks.ts';
import { ImportCsv } from '../parts/importCsv.tsx';
import { useServices } from '../parts/services.ts';
import { PageTitle, Problem, Tag, Waiting } from '../parts/words.tsx';

/** One car, one complaint, and its recordings. */
export function CasePage(p: { readonly id: string }): JSX.Element {
  const { api } = useServices();
  const running = useRunning()
    .map((m) => m.recording.id)
    .join(' ');
  const loaded = useLoad<Case>(p.id, () => api.getCase(p.id));
  const recordings = useLoad<Recording[]>(p.id, () => api.listRecordings(p.id), running);
  const [asking, setAsking] = useState(false);
  const deletion = useAction();
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
        line={item.demo ? <Tag kind="demo">Demo, made by the virtual car</Tag> : null}
      >
        <LinkButton href={hashOf({ page: 'live', caseId: item.id })} tone="main">
          Start a recording
        </LinkButton>
        <ImportCsv caseId={item.id} />
        <LinkButton href={hashOf({ page: 'fuses', caseId: item.id })}>Find the circuit</LinkButton>
        <LinkButton href={hashOf({ page: 'case-edit', id: item.id })}>Edit</LinkButton>
        <Button tone="danger" onPress={() => setAsking(true)}>
          Delete
        </Button>
      </PageTitle>
      <CaseFacts item={item} />
      <section aria-labelledby="recordings-heading">
        <h2 id="recordings-heading">Recordings</h2>
        <Problem sentence={recordings.problem} onRetry={recordings.reload} />
        {recordings.value?.length === 0 && (
          <p class="quiet">None yet. Connect a clamp and a voltmeter, then start one.</p>
        )}
        <ul class="lines">
          {(recordings.value ?? []).map((r) => (
            <RecordingLine key={r.id} item={r} />
          ))}
        </ul>
      </section>
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
              location.hash = '#/cases';
            })
          }
        >
          {deletionText(item.recordings)}
        </Confirm>
      )}
    </>
  );
}

function CaseFacts(p: { readonly item: Case }): JSX.Element {
  const { item } = p;
  const note = item.plateOrVin === '' ? null : vinNote(item.plateOrVin);
  const looksLikeVin = item.plateOrVin.replace(/[\s-]/g, '').length === 17;
  const facts: [string, JSX.Element | string | null][] = [
    ['Complaint', item.complaint || null],
    [
      'Plate or VIN',
      item.plateOrVin === '' ? null : (
        <>
          {item.plateOrVin}
          {note !== null && looksLikeVin && <span class="note">{note.sentence}</span>}
        </>
      ),
    ],
    ['Battery', batteryText(item)],
    ['Unreliable below', item.thresholdV === null ? null : `${item.thresholdV} V`],
    ['Draw limit', item.drawLimitA === null ? null : `${Number((item.drawLimitA * 1000).toPrecision(6))} mA`],
    ['Notes', item.notes || null],
  ];
  const known = facts.filter(([, value]) => value !== null);
  return known.length === 0 ? (
    <p class="quiet">Nothing noted about this car yet.</p>
  ) : (
    <dl class="facts">
      {known.map(([name, value]) => (
        <div key={name}>
          <dt>{name}</dt>
          <dd>{value}</dd>
        </div>
      ))}
    </dl>
  );
}
