import type { JSX } from 'preact';
import { useState } from 'preact/hooks';
import { figureLine, roundedFigure } from '../state/figure.ts';
import { attemptText, OUTCOMES, type Outcome } from '../state/live.ts';
import { useAction, useRunning } from './hooks.ts';
import { useServices } from './services.ts';
import { useKeys } from './shortcuts.ts';
import { Problem } from './words.tsx';

/** Two thumb-sized buttons: each try at the handle is marked by how it went, and keeps its lowest voltage. */
export function Attempts(p: { readonly voltageId: string | null }): JSX.Element {
  const { api, board, sync } = useServices();
  const running = useRunning();
  const action = useAction();
  const [, setMarked] = useState(0);
  const mark = (outcome: Outcome): void => {
    const attempt = board.mark(outcome, sync.serverNowMs() ?? 0, p.voltageId);
    setMarked(board.attempts().length);
    if (running.length > 0)
      action.run(() =>
        Promise.all(
          running.map((m) => api.addEvent(m.recording.id, { kind: 'attempt', text: attemptText(attempt) })),
        ),
      );
  };
  const keys: Record<string, () => void> = { l: () => board.release() };
  for (const o of OUTCOMES) keys[o.letter] = () => mark(o.outcome);
  useKeys(keys);
  const attempts = [...board.attempts()].reverse();
  return (
    <>
      <section class="thumb-bar" aria-labelledby="attempt-heading">
        <h2 id="attempt-heading">Try the handle, then mark it</h2>
        <div class="thumbs">
          {OUTCOMES.map((o) => (
            <button
              key={o.outcome}
              type="button"
              class={`thumb ${o.outcome}`}
              aria-label={`Mark attempt: ${o.label.toLowerCase()}`}
              onClick={() => mark(o.outcome)}
            >
              {o.label}
            </button>
          ))}
        </div>
      </section>
      {(attempts.length > 0 || action.problem !== null) && (
        <section class="attempts" aria-label="Attempts">
          <Problem sentence={action.problem} />
          {attempts.length > 0 && (
            <ol class="attempt-list" aria-label="Attempts, newest first" aria-live="polite">
              {attempts.slice(0, 8).map((a) => (
                <li key={a.number} class={a.outcome}>
                  <span>Attempt {a.number}</span>
                  <strong>{OUTCOMES.find((o) => o.outcome === a.outcome)!.label}</strong>
                  <span>
                    {a.lowestV === null
                      ? 'no voltage seen'
                      : `lowest ${figureLine(roundedFigure('voltage', a.lowestV))}`}
                  </span>
                </li>
              ))}
            </ol>
          )}
          {attempts.length > 0 && running.length === 0 && (
            <p class="quiet">Kept in this page only: no recording runs.</p>
          )}
        </section>
      )}
    </>
  );
}
