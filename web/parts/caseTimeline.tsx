import type { JSX } from 'preact';
import { useState } from 'preact/hooks';
import type { CaseTimeline, Note } from '../../server/messages/casePapers.ts';
import type { Checklist } from '../../server/messages/checklist.ts';
import type { Findings } from '../../server/messages/findings.ts';
import type { Recording } from '../../server/messages/records.ts';
import { verdictOf } from '../../server/messages/sentences.ts';
import { toneOf, type AttemptRow } from '../state/attempts.ts';
import { caseApi } from '../state/caseApi.ts';
import { recordingLine } from '../state/recordings.ts';
import { hashOf } from '../state/route.ts';
import {
  checklistLines,
  daysOf,
  sittingText,
  ticksText,
  zeroText,
  type Entry,
  type EntryKind,
} from '../state/timeline.ts';
import { Button } from './controls.tsx';
import { LevelSign } from './findingParts.tsx';
import { useAction, useLoad, useRunning } from './hooks.ts';
import { NoteForm } from './noteForm.tsx';
import { PhotoPart } from './photo.tsx';
import { useServices } from './services.ts';
import { Strip } from './strip.tsx';
import { offerUndo } from './undo.tsx';
import { Problem, Tag } from './words.tsx';

const NAMES: Readonly<Record<EntryKind, string>> = {
  recording: 'Recording',
  attempts: 'Tries at the handle',
  ticks: 'Pre-flight',
  zero: 'Zero check',
  remark: 'Remark',
  photo: 'Photo',
  note: 'Note',
};

/** Everything that happened to a case, by days, newest first. */
export function Timeline(p: { readonly all: CaseTimeline; readonly onChanged: () => void }): JSX.Element {
  const zone = Intl.DateTimeFormat().resolvedOptions().timeZone ?? null;
  const days = daysOf(p.all, zone);
  if (days.length === 0)
    return (
      <p class="quiet">Nothing yet. Photograph the battery label, then connect a clamp and a voltmeter.</p>
    );
  return (
    <div class="timeline">
      {days.map(({ day, entries }) => (
        <section key={day} aria-label={day}>
          <h3>{day}</h3>
          <ol>
            {entries.map((entry) => (
              <li key={entry.key} class="entry">
                <p class="entry-head">
                  <span class="entry-clock">{entry.clock}</span> <span>{NAMES[entry.kind]}</span>
                </p>
                <div class="entry-body">
                  <EntryPart entry={entry} onChanged={p.onChanged} />
                </div>
              </li>
            ))}
          </ol>
        </section>
      ))}
    </div>
  );
}

function EntryPart(p: { readonly entry: Entry; readonly onChanged: () => void }): JSX.Element {
  const { entry } = p;
  switch (entry.kind) {
    case 'recording':
      return <RecordingEntry item={entry.recording} />;
    case 'attempts':
      return <AttemptsEntry rows={entry.rows} recordingId={entry.recordingId} />;
    case 'ticks':
      return <TicksEntry checklist={entry.checklist} zone={entry.recording.zone} />;
    case 'zero':
      return (
        <p>
          {entry.meterName}: {zeroText(entry.check)}
        </p>
      );
    case 'remark':
      return <p class="written">{entry.text}</p>;
    case 'photo':
      return <PhotoPart photo={entry.photo} onChanged={p.onChanged} />;
    case 'note':
      return <NoteEntry note={entry.note} onChanged={p.onChanged} />;
  }
}

function RecordingEntry(p: { readonly item: Recording }): JSX.Element {
  const { api } = useServices();
  const { item } = p;
  const runs = useRunning().some((m) => m.recording.id === item.id);
  const stamp = runs ? 'running' : String(item.durationMs);
  const findings = useLoad<Findings>(item.id, () => api.findings(item.id), stamp);
  const verdict = findings.value === null ? null : verdictOf(findings.value);
  return (
    <div class="recording-entry">
      <p>
        <a class="entry-link" href={hashOf({ page: 'night', id: item.id })}>
          {item.title}
        </a>{' '}
        {runs && <Tag kind="running">Recording</Tag>}
      </p>
      <p class="quiet">{recordingLine(item)}</p>
      {verdict !== null && (
        <p class="entry-verdict">
          <LevelSign level={verdict.level} /> {verdict.headline}
        </p>
      )}
      <Problem sentence={findings.problem} />
      <Strip recordingId={item.id} stamp={stamp} />
    </div>
  );
}

function AttemptsEntry(p: {
  readonly rows: readonly AttemptRow[];
  readonly recordingId: string;
}): JSX.Element {
  return (
    <details class="entry-fold" open={p.rows.length <= 3}>
      <summary>{sittingText(p.rows)}</summary>
      <ol class="tries">
        {p.rows.map((row) => (
          <li key={row.key} class={toneOf(row.outcome)}>
            <strong>
              {row.number} {row.label}
            </strong>{' '}
            <span>{row.figures}</span>
          </li>
        ))}
      </ol>
      <p>
        <a href={hashOf({ page: 'night', id: p.recordingId })}>See them on the chart</a>
      </p>
    </details>
  );
}

function TicksEntry(p: { readonly checklist: Checklist; readonly zone: string | null }): JSX.Element {
  const { text, left } = ticksText(p.checklist);
  return (
    <details class="entry-fold">
      <summary>{text}</summary>
      <ul class="tick-list">
        {checklistLines(p.checklist, p.zone).map((line) => (
          <li key={line.id}>
            <span class="entry-clock">{line.clock || 'open'}</span> {line.what}
            {line.found !== null && <span class="quiet"> {line.found}</span>}
          </li>
        ))}
      </ul>
      {left.length > 0 && <p class="quiet">{left.length} left open.</p>}
    </details>
  );
}

function NoteEntry(p: { readonly note: Note; readonly onChanged: () => void }): JSX.Element {
  const papers = caseApi(useServices().api);
  const { note } = p;
  const [text, setText] = useState<string | null>(null);
  const action = useAction();
  if (text !== null)
    return (
      <NoteForm
        text={text}
        action={action}
        onText={setText}
        onKeep={async () => {
          await papers.changeNote(note.id, text);
          setText(null);
          p.onChanged();
        }}
      >
        <Button onPress={() => setText(null)}>Cancel</Button>
      </NoteForm>
    );
  return (
    <>
      <p class="written">{note.text}</p>
      <div class="row">
        <Button label={`Edit the note: ${note.text.slice(0, 40)}`} onPress={() => setText(note.text)}>
          Edit
        </Button>
        <Button
          tone="danger"
          label={`Delete the note: ${note.text.slice(0, 40)}`}
          busy={action.busy}
          onPress={() =>
            action.run(async () => {
              await papers.deleteNote(note.id);
              offerUndo('Deleted: a note.', async () => {
                await papers.restoreNote(note.id);
                p.onChanged();
              });
              p.onChanged();
            })
          }
        >
          Delete
        </Button>
      </div>
      <Problem sentence={action.problem} />
    </>
  );
}
