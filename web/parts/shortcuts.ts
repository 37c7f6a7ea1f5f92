import { useEffect, useRef } from 'preact/hooks';
import { preferences } from './preferences.ts';

/** Keys of a page, by the letter typed. */
export type Keys = Readonly<Record<string, () => void>>;

function isTyping(target: EventTarget | null): boolean {
  return (
    target instanceof HTMLElement &&
    (target.isContentEditable || /^(INPUT|SELECT|TEXTAREA)$/.test(target.tagName))
  );
}

/** Single-key shortcuts while this part is shown; silent in text fields, in dialogs and when switched off. */
export function useKeys(keys: Keys): void {
  const newest = useRef(keys);
  newest.current = keys;
  useEffect(() => {
    const press = (e: KeyboardEvent): void => {
      if (!preferences().shortcuts || e.ctrlKey || e.metaKey || e.altKey || e.defaultPrevented || e.repeat)
        return;
      if (isTyping(e.target) || document.querySelector('dialog[open]') !== null) return;
      const run = newest.current[e.key];
      if (run === undefined) return;
      e.preventDefault();
      run();
    };
    addEventListener('keydown', press);
    return () => removeEventListener('keydown', press);
  }, []);
}
