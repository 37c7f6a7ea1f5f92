import type { Reading } from '../../core/reading.ts';

/**
 * A way in which figures can be written into a plain stream of octets. A framing needs no Bluetooth: it sees
 * octets as they come, cut anywhere.
 */
export interface Framing {
  readonly id: string;
  readonly title: string;
  create(): Framer;
}

export interface Framer {
  /**
   * Takes the next octets and gives the frames that they complete.
   * @returns one entry a whole frame: its reading, or null where the frame is sound but shows neither volts
   * nor amperes (ohms, say)
   * @throws DriverError for a frame that is broken; the framer has then dropped it and can go on
   */
  push(bytes: Uint8Array): readonly (Reading | null)[];
}
