import type { JSX } from 'preact';
import { PLACES } from '../state/route.ts';
import { setPreferences, usePreferences } from '../parts/preferences.ts';
import { PageTitle } from '../parts/words.tsx';

const PAGE_KEYS: readonly (readonly [string, string])[] = [
  ...PLACES.map((p) => [`g then ${p.letter}`, p.label] as const),
  ['?', 'This page'],
];
const LIVE_KEYS = [
  ['o', 'Mark an attempt: it opened'],
  ['b', 'Mark an attempt: the handle failed, the button worked'],
  ['t', 'Mark an attempt: locked by touch'],
  ['n', 'Mark an attempt: nothing at all'],
  ['Volume keys', 'Up: it opened; down: button only, where the browser passes them on'],
  ['l', 'Let go of the lowest voltage held'],
] as const;
const CHART_KEYS = [
  ['← →', 'Move by a quarter'],
  ['Page up, Page down', 'Move by the whole width'],
  ['Home, End', 'To the start, to the end'],
  ['+ −', 'Closer, further'],
  ['0 or Escape', 'The whole night'],
  ['Ctrl and wheel', 'Closer, further, at the pointer'],
] as const;

const WORDS = [
  ['Key-off draw', 'Current that leaves the battery while the car is parked and locked.'],
  ['Time to sleep', 'From locking until the control units have shut down.'],
  ['Shut-down step', 'A fall of the draw as a control unit switches off.'],
  ['Settled baseline', 'The draw that stays between pulses and wake-ups.'],
  ['Polling', 'Short pulses by which the car searches for its fob.'],
  ['Wake-up', 'The car comes awake by itself and goes back to sleep.'],
  ['Rest voltage', 'The battery at rest, after its surface charge has gone.'],
  ['Unreliable zone', 'Below the voltage at which this car stops answering the door handle.'],
  ['Attempt', 'One try at the handle.'],
  ['± after a figure', 'Expanded uncertainty, k = 2: about 95 of 100 times the truth lies within.'],
] as const;

/** Keys, words, and choices of this browser. */
export function HelpPage(): JSX.Element {
  const { shortcuts } = usePreferences();
  return (
    <>
      <PageTitle title="Keys and help" />
      <div class="help-grid">
        <Keys title="Everywhere" keys={PAGE_KEYS} />
        <Keys title="Live watch" keys={LIVE_KEYS} />
        <Keys title="On the chart of a night" keys={CHART_KEYS} />
      </div>
      <label class="switch">
        <input
          type="checkbox"
          checked={shortcuts}
          onChange={(e) => setPreferences({ shortcuts: e.currentTarget.checked })}
        />
        <span>
          Single-key shortcuts (the chart's own keys work while it has the focus, with or without this)
        </span>
      </label>
      <section aria-labelledby="words-heading">
        <h2 id="words-heading">Words</h2>
        <dl class="facts">
          {WORDS.map(([word, meaning]) => (
            <div key={word}>
              <dt>{word}</dt>
              <dd>{meaning}</dd>
            </div>
          ))}
        </dl>
      </section>
    </>
  );
}

function Keys(p: {
  readonly title: string;
  readonly keys: readonly (readonly [string, string])[];
}): JSX.Element {
  return (
    <section>
      <h2>{p.title}</h2>
      <dl class="keys">
        {p.keys.map(([key, what]) => (
          <div key={key}>
            <dt>
              <kbd>{key}</kbd>
            </dt>
            <dd>{what}</dd>
          </div>
        ))}
      </dl>
    </section>
  );
}
