import { useEffect, useState } from 'preact/hooks';

/** What the Battery Status API (W3C) tells of this computer. */
interface BatteryManager extends EventTarget {
  readonly charging: boolean;
  readonly level: number;
}

export interface Power {
  readonly charging: boolean;
  readonly level: number;
}

/** Mains or battery, as it changes; null where the browser does not say. */
export function usePower(): Power | null {
  const [power, setPower] = useState<Power | null>(null);
  useEffect(() => {
    const ask = (navigator as { getBattery?: () => Promise<BatteryManager> }).getBattery;
    if (ask === undefined) return;
    let manager: BatteryManager | null = null;
    let gone = false;
    const read = (): void => {
      if (manager !== null) setPower({ charging: manager.charging, level: manager.level });
    };
    ask
      .call(navigator)
      .then((m) => {
        if (gone) return;
        manager = m;
        read();
        m.addEventListener('chargingchange', read);
        m.addEventListener('levelchange', read);
      })
      .catch(() => undefined);
    return () => {
      gone = true;
      manager?.removeEventListener('chargingchange', read);
      manager?.removeEventListener('levelchange', read);
    };
  }, []);
  return power;
}

export type ScreenLock = 'held' | 'refused' | 'no-such-thing';

/** Keeps the screen on while this part is shown, and says whether the system lets it. */
export function useScreenLock(): ScreenLock {
  const [state, setState] = useState<ScreenLock>('no-such-thing');
  useEffect(() => {
    if (!('wakeLock' in navigator)) return;
    let lock: WakeLockSentinel | null = null;
    let gone = false;
    const ask = async (): Promise<void> => {
      if (document.visibilityState !== 'visible' || (lock !== null && !lock.released)) return;
      lock = await navigator.wakeLock.request('screen').catch(() => null);
      if (gone) void lock?.release();
      else setState(lock === null ? 'refused' : 'held');
    };
    const again = (): void => void ask();
    void ask();
    document.addEventListener('visibilitychange', again);
    return () => {
      gone = true;
      document.removeEventListener('visibilitychange', again);
      void lock?.release();
    };
  }, []);
  return state;
}
