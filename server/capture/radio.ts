import type { Link } from '../../drivers/core/link.ts';
import type { BluetoothStatus } from '../messages/meters.ts';

/** Meters that this server reaches itself: its Bluetooth adapter, or the air around the virtual car. */
export interface Radio {
  readonly link: Link;
  /** What the radio can do, without starting it. */
  status(): BluetoothStatus;
}

/** The virtual car as the page steers it. Its meters are reached through its own radio, by these ids. */
export interface VirtualCar {
  readonly radio: Radio;
  readonly meterIds: readonly string[];
  /** A fresh night begins. */
  start(): void;
  stop(): void;
  touchHandle(): void;
  wake(): void;
  /** From now on a meter has nothing to measure: the clamp is off, the leads are joined. @returns puts it back */
  takeOff(meterId: string): () => void;
}
