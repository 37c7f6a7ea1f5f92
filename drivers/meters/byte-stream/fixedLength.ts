import { DriverError } from '../../core/errors.ts';
import type { Reading } from '../../core/reading.ts';
import type { Framer } from './framing.ts';

/**
 * Cuts a stream into frames of one length. `fits` tells which octet can stand at which place, so that a
 * frame that starts in the middle, or lost an octet, is dropped and the next one is found.
 */
export function fixedLength(frame: {
  readonly octets: number;
  readonly fits: (octet: number, at: number) => boolean;
  readonly decode: (bytes: Uint8Array) => Reading | null;
}): Framer {
  const held = new Uint8Array(frame.octets);
  let count = 0;
  return {
    push(bytes) {
      const out: (Reading | null)[] = [];
      let broken: DriverError | null = null;
      for (const octet of bytes) {
        if (!frame.fits(octet, count)) {
          if (count > 0) broken = new DriverError('bad-field', 'A frame of the meter arrived in part.');
          count = 0;
          if (!frame.fits(octet, 0)) continue;
        }
        held[count++] = octet;
        if (count < frame.octets) continue;
        count = 0;
        try {
          out.push(frame.decode(held.slice()));
        } catch (error) {
          if (!(error instanceof DriverError)) throw error;
          broken = error;
        }
      }
      // A broken frame among good ones is told only where it would otherwise pass unseen.
      if (broken !== null && out.length === 0) throw broken;
      return out;
    },
  };
}
