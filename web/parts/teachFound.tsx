import type { JSX } from 'preact';
import { useState } from 'preact/hooks';
import {
  newest,
  notShownYet,
  progressLine,
  readAs,
  toSave,
  type Glance,
  type MeterDescription,
  type Teaching,
  type TeachResult,
} from '../state/teaching.ts';
import { Button, TextField } from './controls.tsx';
import { useAction } from './hooks.ts';
import { Problem, Waiting } from './words.tsx';

export function Glances(p: {
  readonly glances: readonly Glance[];
  readonly onRemove: (index: number) => void;
}): JSX.Element {
  const wishes = notShownYet(p.glances);
  return (
    <section class="source" aria-label="Glances">
      <h2>Glances: {p.glances.length}</h2>
      <ol class="lines">
        {p.glances.map((glance, i) => (
          <li key={`${glance.frame.atMs} ${i}`} class="line">
            <strong class="line-main">{glance.display}</strong>
            <code class="octets breaks">{glance.frame.hex}</code>
            <div class="row">
              <Button label={`Remove ${glance.display}`} onPress={() => p.onRemove(i)}>
                Remove
              </Button>
            </div>
          </li>
        ))}
      </ol>
      {wishes.length > 0 && <p class="quiet">Not shown yet: {wishes.join('; ')}.</p>}
    </section>
  );
}

/** What the search says of the glances so far; what it found reads along, to be held against the display. */
export function Found(p: {
  readonly state: Teaching;
  readonly result: TeachResult | null;
  readonly searching: boolean;
  readonly onSave: (description: MeterDescription) => Promise<void>;
}): JSX.Element {
  const { state, result } = p;
  const [title, setTitle] = useState('');
  const action = useAction();
  const description = toSave(state, result, title);
  const frame = newest(state);
  return (
    <section class="source" aria-label="What was found">
      <h2>What was found</h2>
      <div role="status">
        {p.searching ? (
          <Waiting>Searching.</Waiting>
        ) : (
          <p>
            <strong>{progressLine(state.glances.length, result)}</strong>
          </p>
        )}
      </div>
      {!p.searching && result !== null && (
        <>
          {result.nextGlance !== null && (
            <p>
              {result.state === 'learned' ? 'To widen what is known, show' : 'Show next'}: {result.nextGlance}
              .
            </p>
          )}
          {result.state !== 'none' && result.reasons.length > 0 && (
            <ul class="quiet">
              {result.reasons.map((reason) => (
                <li key={reason}>{reason}</li>
              ))}
            </ul>
          )}
        </>
      )}
      {result?.description && frame !== null && (
        <p>
          It reads now: <strong>{readAs(result.description, frame)}</strong>. Does the display say so?
        </p>
      )}
      <form class="form" onSubmit={(e) => e.preventDefault()}>
        <TextField
          label="Name of this kind of meter"
          value={title}
          maxLength={80}
          onValue={setTitle}
          hint={`Left empty: ${state.name}`}
        />
        <Problem sentence={action.problem} />
        <div class="row">
          <Button
            tone="main"
            submits
            busy={action.busy}
            disabled={description === null || p.searching}
            onPress={() => {
              if (description !== null) action.run(() => p.onSave(description));
            }}
          >
            Save this meter
          </Button>
        </div>
      </form>
    </section>
  );
}
