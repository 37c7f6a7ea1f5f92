import type { Clock } from '../../core/clock.ts';
import type { OnBytes } from '../../core/link.ts';

/** The one listener of a characteristic. */
export interface Listener {
  stop(): void;
  /**
   * Runs a read of the same characteristic. A browser reports the value of a read like a notification too;
   * only what the meter sent by itself goes on to `onBytes`.
   */
  reading(read: () => Promise<DataView>): Promise<DataView>;
}

export function bytesOf(view: DataView): Uint8Array {
  return new Uint8Array(view.buffer, view.byteOffset, view.byteLength).slice();
}

export function listen(remote: BluetoothRemoteGATTCharacteristic, clock: Clock, onBytes: OnBytes): Listener {
  let held: { readonly view: DataView; readonly atMs: number }[] | null = null;
  const onChange = (): void => {
    const view = remote.value;
    if (!view) return;
    const atMs = clock.nowMs();
    if (held) held.push({ view, atMs });
    else onBytes(bytesOf(view), atMs);
  };
  remote.addEventListener('characteristicvaluechanged', onChange);
  return {
    stop: () => remote.removeEventListener('characteristicvaluechanged', onChange),
    async reading(read) {
      held = [];
      let answer: DataView | null = null;
      try {
        return (answer = await read());
      } finally {
        const waiting = held;
        held = null;
        for (const { view, atMs } of waiting) if (view !== answer) onBytes(bytesOf(view), atMs);
      }
    },
  };
}
