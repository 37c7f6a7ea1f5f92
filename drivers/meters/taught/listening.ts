import type { CharacteristicRef } from '../../core/link.ts';
import type { Driver } from '../../core/driver.ts';
import { isStandard } from './unknown.ts';

/**
 * Reads nothing: hands on what an unknown meter sends, so that it can be taught. It takes every notifying
 * characteristic that is neither the SIG's nor describes itself.
 */
export function listeningDriver(
  onFrame: (source: CharacteristicRef, bytes: Uint8Array, meterName: string | null) => void,
): Driver {
  return {
    id: 'listening',
    title: 'Listening, to be taught',
    services: [],
    open({ name, characteristics }) {
      const sources = characteristics
        .filter((c) => c.canNotify && !isStandard(c))
        .map(({ service, characteristic, index }) => ({ service, characteristic, index }));
      if (sources.length === 0) return null;
      return {
        channels: [],
        sources,
        pollMs: 1000,
        read(source, bytes) {
          onFrame(source, bytes, name);
          return [];
        },
      };
    },
  };
}
