import type { ComponentChildren, JSX } from 'preact';
import { useEffect, useRef, useState } from 'preact/hooks';
import { caseAttemptsSchema, type CaseAttempts } from '../../server/messages/attempts.ts';
import { ApiError } from '../state/api.ts';
import {
  AttemptBook,
  attemptRows,
  keepingText,
  outcomeLabel,
  toneOf,
  withoutCommonNotes,
  type HeldAttempt,
} from '../state/attempts.ts';
import { figureLine, roundedFigure } from '../state/figure.ts';
import { attemptText, OUTCOMES, type Outcome } from '../state/live.ts';
import { hashOf } from '../state/route.ts';
import { useConnection, useLoad, useRunning } from './hooks.ts';
import { useServices } from './services.ts';
import { useKeys } from './shortcuts.ts';
import { ThresholdPart } from './threshold.tsx';
import { Problem } from './words.tsx';

/** A dip is measured once the voltage has come back; the list is asked for again then. */
const ASK_AGAIN_MS = [1500, 6000, 25_000];
const SHOWN = 6;

/** What this page has marked outlives a change of page; it ends with the page itself. */
const book = new AttemptBook();
/** The recording that ran last while this page was open: its attempts stay in view after the stop. */
let lastRecordingId: string | null = null;

/**
 * Four thumb-sized buttons: each try at the handle is marked by how it went and keeps its lowest voltage. Below, the
 * recorded tries with their dips, as the server measured them, and what they say of this car.
 */
export function Attempts(p: {
  readonly voltageId: string | null;
  readonly caseId: string | null;
  /** The buttons stay where they are, instead of at the lower edge within the thumb's reach. */
  readonly still?: boolean;
  /** What stands between the buttons and the list. */
  readonly children?: ComponentChildren;
}): JSX.Element {
  const { api, board, sync } = useServices();
  const running = useRunning();
  const connected = useConnection().state === 'connected';
  const [, redraw] = useState(0);
  const [asked, setAsked] = useState(0);
  const timers = useRef(new Set<ReturnType<typeof setTimeout>>());
  useEffect(() => {
    const mine = timers.current;
    return () => mine.forEach(clearTimeout);
  }, []);
  useEffect(() => sync.onRecording(() => setAsked((n) => n + 1)), [sync]);

  lastRecordingId = running[0]?.recording.id ?? lastRecordingId;
  const of =
    p.caseId !== null
      ? `cases/${p.caseId}`
      : lastRecordingId === null
        ? null
        : `recordings/${lastRecordingId}`;
  const recorded = useLoad<CaseAttempts>(
    of,
    () => api.ask('GET', `${of}/attempts`, caseAttemptsSchema),
    String(asked),
  );

  const askSoon = (): void => {
    for (const ms of ASK_AGAIN_MS) timers.current.add(setTimeout(() => setAsked((n) => n + 1), ms));
  };
  const send = ({ attempt, recordingIds }: HeldAttempt): void => {
    const { outcome, atMs, number } = attempt;
    const event = { kind: 'attempt' as const, text: attemptText(attempt), outcome, nowMs: atMs };
    void Promise.all(recordingIds.map((id) => api.addEvent(id, event)))
      .then(
        () => book.note(number, { kind: 'recorded' }),
        (error: unknown) =>
          book.note(
            number,
            error instanceof ApiError && error.code === 'unreachable'
              ? { kind: 'waiting' }
              : { kind: 'refused', sentence: error instanceof Error ? error.message : String(error) },
          ),
      )
      .then(() => {
        redraw((n) => n + 1);
        askSoon();
      });
  };
  const mark = (outcome: Outcome): void => {
    const attempt = board.mark(outcome, sync.serverNowMs() ?? 0, p.voltageId);
    const held = book.add(
      attempt,
      running.map((m) => m.recording.id),
    );
    navigator.vibrate?.(40);
    redraw((n) => n + 1);
    if (held.recordingIds.length > 0) send(held);
  };
  useEffect(() => {
    if (connected) book.takeWaiting().forEach(send);
  }, [connected]);

  const keys: Record<string, () => void> = {
    l: () => board.release(),
    AudioVolumeUp: () => mark('opened'),
    AudioVolumeDown: () => mark('button-only'),
  };
  for (const o of OUTCOMES) keys[o.letter] = () => mark(o.outcome);
  useKeys(keys);

  const all = recorded.value === null ? [] : attemptRows(recorded.value);
  const { rows, common } = withoutCommonNotes(all.slice(0, SHOWN));
  const own = book.notRecorded().slice(0, SHOWN);
  return (
    <>
      <section class={p.still ? 'thumb-bar still' : 'thumb-bar'} aria-labelledby="attempt-heading">
        <h2 id="attempt-heading">Try the handle, then mark it</h2>
        <div class="thumbs">
          {OUTCOMES.map((o) => (
            <button
              key={o.outcome}
              type="button"
              class={`thumb ${toneOf(o.outcome)}`}
              aria-label={`Mark attempt: ${o.label.toLowerCase()} ${o.hint}`}
              onClick={() => mark(o.outcome)}
            >
              <span>{o.label}</span>
              <small>{o.hint}</small>
            </button>
          ))}
        </div>
      </section>
      {p.children}
      {(rows.length > 0 || own.length > 0) && (
        <section class="attempts" aria-label="Attempts">
          <Problem sentence={recorded.problem} />
          <ol class="attempt-list" aria-label="Attempts, newest first" aria-live="polite">
            {own.map(({ attempt: a, keeping }) => (
              <li key={`own ${a.number}`} class={toneOf(a.outcome)}>
                <strong>{outcomeLabel(a.outcome)}</strong>
                <span>
                  {a.lowestV === null
                    ? 'no voltage seen'
                    : `lowest ${figureLine(roundedFigure('voltage', a.lowestV))}`}
                </span>
                <span class="quiet">{keepingText(keeping)}</span>
              </li>
            ))}
            {rows.map((row) => (
              <li key={row.key} class={toneOf(row.outcome)}>
                <strong>
                  <span class="attempt-number">{row.number}</span> {row.label}
                </strong>
                <span>{row.figures === '' ? 'being measured' : row.figures}</span>
                {row.notes.length > 0 && <span class="quiet">{row.notes.join(' ')}</span>}
              </li>
            ))}
          </ol>
          {common.length > 0 && <p class="quiet">{common.join(' ')}</p>}
          {all.length > SHOWN && (
            <p class="quiet">
              {all.length - SHOWN} earlier ones are{' '}
              <a
                href={
                  p.caseId === null
                    ? hashOf({ page: 'night', id: rows[0]!.recordingId })
                    : hashOf({ page: 'case', id: p.caseId })
                }
              >
                kept
              </a>
              .
            </p>
          )}
        </section>
      )}
      {recorded.value !== null && recorded.value.attempts.length > 0 && (
        <ThresholdPart all={recorded.value} onChanged={recorded.reload} />
      )}
    </>
  );
}
