import type { Abort } from './clock.ts';

/** Makes an `Abort` that pure code can trigger itself. */
export function createAbort(): { readonly signal: Abort; abort(): void } {
  const listeners = new Set<() => void>();
  let aborted = false;
  return {
    signal: {
      get aborted() {
        return aborted;
      },
      addEventListener: (_type, listener) => void listeners.add(listener),
      removeEventListener: (_type, listener) => void listeners.delete(listener),
    },
    abort() {
      if (aborted) return;
      aborted = true;
      for (const listener of [...listeners]) listener();
      listeners.clear();
    },
  };
}
