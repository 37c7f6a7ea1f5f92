import type { JSX } from 'preact';
import { setPreferences, usePreferences, type Looks as Choice } from './preferences.ts';

const NEXT: Readonly<Record<Choice, Choice>> = { auto: 'dark', dark: 'light', light: 'auto' };
const WORDS: Readonly<Record<Choice, string>> = { auto: 'Auto', dark: 'Night', light: 'Day' };

/** Night, day, or as the system says; one tap goes to the next. */
export function Looks(): JSX.Element {
  const { looks } = usePreferences();
  return (
    <button
      type="button"
      class="looks"
      aria-label={`Looks: ${WORDS[looks]}. Change to ${WORDS[NEXT[looks]]}`}
      onClick={() => setPreferences({ looks: NEXT[looks] })}
    >
      <svg viewBox="0 0 20 20" aria-hidden="true">
        <circle cx="10" cy="10" r="7" />
        <path d="M10 3a7 7 0 0 1 0 14z" />
      </svg>
      <span>{WORDS[looks]}</span>
    </button>
  );
}
