import { useEffect, useState } from 'preact/hooks';

/** Choices of this browser's reader: looks, and single-key shortcuts. Kept where the browser allows it. */
export type Looks = 'auto' | 'light' | 'dark';

interface Preferences {
  readonly looks: Looks;
  readonly shortcuts: boolean;
}

const KEY = 'nightdraw.preferences';
const listeners = new Set<(p: Preferences) => void>();
let current = read();

function read(): Preferences {
  try {
    const raw = JSON.parse(localStorage.getItem(KEY) ?? '{}') as Partial<Preferences>;
    return {
      looks: raw.looks === 'light' || raw.looks === 'dark' ? raw.looks : 'auto',
      shortcuts: raw.shortcuts !== false,
    };
  } catch {
    return { looks: 'auto', shortcuts: true };
  }
}

const bright = matchMedia('(prefers-color-scheme: light)');

function apply(): void {
  const light = current.looks === 'light' || (current.looks === 'auto' && bright.matches);
  document.documentElement.dataset['theme'] = light ? 'light' : 'dark';
}

/** Called once before the first rendering, so that the page never shows the other looks first. */
export function applyPreferences(): void {
  apply();
  bright.addEventListener('change', apply);
}

export function preferences(): Preferences {
  return current;
}

export function setPreferences(change: Partial<Preferences>): void {
  current = { ...current, ...change };
  apply();
  try {
    localStorage.setItem(KEY, JSON.stringify(current));
  } catch {
    // Storage is refused in some private windows; the choice then lasts until the page is closed.
  }
  for (const l of listeners) l(current);
}

export function usePreferences(): Preferences {
  const [value, setValue] = useState(current);
  useEffect(() => {
    listeners.add(setValue);
    return () => {
      listeners.delete(setValue);
    };
  }, []);
  return value;
}
