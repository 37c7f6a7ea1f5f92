import type { JSX } from 'preact';
import { useEffect, useRef, useState } from 'preact/hooks';
import type { Checklist } from '../../server/messages/checklist.ts';
import type { Case, Recording } from '../../server/messages/records.ts';
import type { RecordingMessage } from '../../server/messages/socket.ts';
import { elapsedText } from '../state/clocktime.ts';
import { recordable } from '../state/live.ts';
import { casesInOrder, defaultTitle } from '../state/recordings.ts';
import { hashOf } from '../state/route.ts';
import { Button, Choice, LinkButton, SelectField, TextField } from './controls.tsx';
import { useAction, useLoad, useMeters, useRunning, useTicker } from './hooks.ts';
import { useServices } from './services.ts';
import { WatchPanel } from './watchPanel.tsx';
import { Problem } from './words.tsx';

type Kind = 'live-watch' | 'overnight-test';

/** Recordings that run, each with its stop; and the way to the one that has just been stopped. */
export function RunningRecordings(p: {
  /** Where the part may change its place, the page remembers for it what was stopped. */
  readonly stopped?: readonly [Recording | null, (recording: Recording | null) => void];
}): JSX.Element | null {
  const running = useRunning();
  const own = useState<Recording | null>(null);
  const [stopped, onStopped] = p.stopped ?? own;
  const section = useRef<HTMLElement>(null);
  const some = running.length > 0;
  const before = useRef(some);
  const fresh = useRef(true);
  useEffect(() => {
    // The start button lies further down; what it started is brought into view.
    if (some && !before.current) section.current?.scrollIntoView({ block: 'nearest' });
    if (some) onStopped(null);
    before.current = some;
  }, [some]);
  useEffect(() => {
    const isNew = fresh.current;
    fresh.current = false;
    if (isNew && stopped === null) return;
    // The button that was pressed is gone: the keys go on from here, and not from the top of the page.
    if (document.activeElement === document.body) section.current?.focus({ preventScroll: true });
  }, [some, stopped]);
  if (!some && stopped === null) return null;
  return (
    <section class="recorder" aria-label="Running recordings" ref={section} tabIndex={-1}>
      {running.map((m) => (
        <Running key={m.recording.id} message={m} onStopped={onStopped} />
      ))}
      {!some && stopped !== null && (
        <p class="stopped" role="status">
          Stopped: {stopped.title}. <a href={hashOf({ page: 'night', id: stopped.id })}>See the findings</a>
        </p>
      )}
    </section>
  );
}

function Running(p: {
  readonly message: RecordingMessage;
  readonly onStopped: (recording: Recording) => void;
}): JSX.Element {
  const { api, sync } = useServices();
  const { recording, startNowMs } = p.message;
  const action = useAction();
  useTicker(1);
  const now = sync.serverNowMs();
  return (
    <div class="running-line">
      <p>
        <span class="recording-dot" aria-hidden="true" />
        <strong>{recording.title}</strong>{' '}
        {now !== null && startNowMs !== null && (
          <span class="elapsed">{elapsedText((now - startNowMs) / 1000, 'seconds')}</span>
        )}
      </p>
      <div class="row">
        <Button
          tone="danger"
          busy={action.busy}
          onPress={() => action.run(async () => p.onStopped(await api.stopRecording(recording.id)))}
        >
          Stop recording
        </Button>
        <LinkButton href={hashOf({ page: 'night', id: recording.id })}>So far</LinkButton>
      </div>
      <Problem sentence={action.problem} />
      {recording.kind === 'overnight-test' && <WatchPanel recording={recording} />}
    </div>
  );
}

interface StartProps {
  readonly caseId: string | null;
  /** What is started, where that is settled. */
  readonly kind?: Kind;
  /** Asked at the moment of the start; kept with the recording. */
  readonly checklist?: () => Checklist;
}

/** Starts a recording with what is connected: one press, or with a title, a case and chosen meters. */
export function StartRecording(p: StartProps): JSX.Element | null {
  const running = useRunning();
  return running.length > 0 ? null : (
    <section class="recorder" aria-labelledby="recorder-heading">
      <h2 id="recorder-heading">Recording</h2>
      <StartForm {...p} />
    </section>
  );
}

function StartForm(p: StartProps): JSX.Element {
  const { api } = useServices();
  const meters = recordable(useMeters());
  const cases = useLoad<Case[]>('cases', () => api.listCases());
  const action = useAction();
  const [kind, setKind] = useState<Kind>(p.kind ?? 'live-watch');
  const [title, setTitle] = useState('');
  const [caseId, setCaseId] = useState(p.caseId ?? '');
  const [left, setLeft] = useState<ReadonlySet<string>>(new Set());
  const zone = Intl.DateTimeFormat().resolvedOptions().timeZone ?? null;
  const used = meters.filter((m) => !left.has(m.key));
  const chosen = cases.value?.find((c) => c.id === caseId);
  const suggested = defaultTitle(kind, Date.now(), zone);
  return (
    <div class="start-recording">
      {p.kind === undefined && (
        <Choice
          legend="What for"
          value={kind}
          options={[
            { value: 'live-watch' as const, label: 'Live watch' },
            { value: 'overnight-test' as const, label: 'Overnight test' },
          ]}
          onValue={setKind}
        />
      )}
      {kind === 'overnight-test' && p.checklist === undefined && (
        <p class="quiet">
          Fob at least 3 m away, doors and bonnet latched, meters on fresh cells, this computer's sleep
          switched off.
        </p>
      )}
      <div class="row">
        <Button
          tone="main"
          busy={action.busy}
          disabled={used.length === 0}
          onPress={() =>
            action.run(async () => {
              await api.startRecording({
                caseId: caseId === '' ? null : caseId,
                kind,
                title: title.trim() || suggested,
                zone,
                meters: used.map((m) => m.key),
                ...(p.checklist !== undefined && { checklist: p.checklist() }),
              });
            })
          }
        >
          Start recording
        </Button>
        <p class="quiet">
          {used.length === 0
            ? 'Connect a meter first.'
            : `From ${used.map((m) => m.name).join(' and ')}, into ${chosen === undefined ? 'no case yet' : chosen.title}.`}
        </p>
      </div>
      <details class="fold">
        <summary>Title, case and meters</summary>
        <div class="fold-body">
          <div class="form-grid">
            <TextField
              label="Title"
              value={title}
              hint={`Empty: ${suggested}`}
              maxLength={120}
              onValue={setTitle}
            />
            <SelectField
              label="Case"
              value={caseId}
              options={[
                { value: '', label: 'None yet' },
                ...casesInOrder(cases.value ?? []).map((c) => ({ value: c.id, label: c.title })),
              ]}
              onValue={setCaseId}
            />
          </div>
          {meters.length > 1 && (
            <fieldset class="checks">
              <legend>With these meters</legend>
              {meters.map((m) => (
                <label key={m.key}>
                  <input
                    type="checkbox"
                    checked={!left.has(m.key)}
                    onChange={() =>
                      setLeft((before) => {
                        const next = new Set(before);
                        if (!next.delete(m.key)) next.add(m.key);
                        return next;
                      })
                    }
                  />
                  <span>{m.name}</span>
                </label>
              ))}
            </fieldset>
          )}
        </div>
      </details>
      <Problem sentence={action.problem ?? cases.problem} />
    </div>
  );
}
