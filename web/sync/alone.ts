/** Runs `work` while no other tab of this browser runs work of the same name; at once where tabs cannot tell. */
export async function alone(name: string, work: () => Promise<void>): Promise<void> {
  if (!('locks' in navigator)) return work();
  await navigator.locks.request(name, work);
}

/**
 * Takes a name for this tab.
 * @returns what gives it back; null when another tab has it
 */
export function claim(name: string): Promise<(() => void) | null> {
  if (!('locks' in navigator)) return Promise.resolve(() => undefined);
  return new Promise((resolve, reject) => {
    navigator.locks
      .request(name, { ifAvailable: true }, (lock) => {
        if (!lock) return resolve(null);
        return new Promise<void>((release) => resolve(release));
      })
      .catch(reject);
  });
}
