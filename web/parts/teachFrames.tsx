import type { JSX } from 'preact';
import { useState } from 'preact/hooks';
import {
  chooseKind,
  displayProblem,
  kinds,
  shownFrames,
  type Octet,
  type Teaching,
} from '../state/teaching.ts';
import { Button, Choice, TextField } from './controls.tsx';
import { Waiting } from './words.tsx';

const SHOWN = 5;

/** Frames as they arrive, octets that changed marked, and the choice of the kind that holds the figure. */
export function ArrivingFrames(p: {
  readonly state: Teaching;
  readonly onState: (change: (before: Teaching) => Teaching) => void;
  readonly onHold: () => void;
  readonly onOther: () => void;
}): JSX.Element {
  const { state } = p;
  const all = kinds(state);
  const frames = shownFrames(state, SHOWN);
  return (
    <section class="source" aria-label="What arrives">
      <header class="section-head">
        <h2>What arrives from {state.name}</h2>
        <Button tone="main" disabled={frames.length === 0 || state.held !== null} onPress={p.onHold}>
          Hold this frame
        </Button>
        <Button onPress={p.onOther}>Another meter</Button>
      </header>
      {all.length > 1 && state.glances.length === 0 && (
        <Choice
          legend="Which of them changes with the display?"
          value={state.kind ?? all[0]!.kind}
          options={all.map(({ kind, octets, from }) => ({
            value: kind,
            label: `${octets} octets from ${from}`,
          }))}
          onValue={(kind) => p.onState((before) => chooseKind(before, kind))}
        />
      )}
      {frames.length === 0 ? (
        <Waiting>Nothing yet. Some meters send only after their Bluetooth key was pressed.</Waiting>
      ) : (
        <ol class="frames" aria-label="Newest frames">
          {frames.map(({ octets }, i) => (
            <li key={i}>
              <Octets octets={octets} />
            </li>
          ))}
        </ol>
      )}
      <p class="quiet small">Newest first. Octets that changed are underlined.</p>
    </section>
  );
}

function Octets(p: { readonly octets: readonly Octet[] }): JSX.Element {
  return (
    <code class="octets">
      {p.octets.map(({ hex, changed }, i) => (changed ? <u key={i}>{hex}</u> : <span key={i}>{hex}</span>))}
    </code>
  );
}

/** The frame that is held, and what the display reads at its moment. */
export function HeldFrame(p: {
  readonly hex: string;
  readonly onKeep: (display: string) => void;
  readonly onLetGo: () => void;
}): JSX.Element {
  const [display, setDisplay] = useState('');
  const problem = display.trim() === '' ? null : displayProblem(display);
  return (
    <form class="form held" aria-label="Held frame" onSubmit={(e) => e.preventDefault()}>
      <p>
        Held: <Octets octets={(p.hex.match(/../g) ?? []).map((hex) => ({ hex, changed: false }))} />
      </p>
      <TextField
        label="The display reads"
        hint="As shown, with its unit and words: 12.63 V, -25.6 mA, 0.000 V HOLD, OL V."
        value={display}
        maxLength={60}
        onValue={setDisplay}
        {...(problem !== null && { problem })}
      />
      <div class="row">
        <Button
          tone="main"
          submits
          disabled={display.trim() === '' || problem !== null}
          onPress={() => p.onKeep(display)}
        >
          Keep this glance
        </Button>
        <Button onPress={p.onLetGo}>Let it go</Button>
      </div>
    </form>
  );
}
