/** Keeps the screen on while it is wanted and the page is visible; browsers take the lock away when it is hidden. */
export function createWakeLock(): { want(on: boolean): void } {
  let wanted = false;
  let lock: WakeLockSentinel | null = null;

  async function update(): Promise<void> {
    if (!('wakeLock' in navigator)) return;
    if (!wanted) {
      await lock?.release();
      lock = null;
    } else if (document.visibilityState === 'visible' && (lock === null || lock.released)) {
      // Refused on low battery, for example; the page is asked again when it is next shown.
      lock = await navigator.wakeLock.request('screen').catch(() => null);
    }
  }

  document.addEventListener('visibilitychange', () => void update());
  return {
    want(on) {
      if (on === wanted) return;
      wanted = on;
      void update();
    },
  };
}
