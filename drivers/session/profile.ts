import type { Abort, Clock } from '../core/clock.ts';
import type { MeterProfile, ProfiledCharacteristic } from '../core/driver.ts';
import { LinkError } from '../core/errors.ts';
import type { Connection } from '../core/link.ts';
import { withTimeLimit } from '../core/timeLimit.ts';
import { uuid16 } from '../core/uuid.ts';

const PRESENTATION_FORMAT = uuid16(0x2904);

/**
 * Reads what drivers need to know before the first value. A descriptor that the meter refuses to show
 * counts as absent; a lost or silent connection does not.
 * @throws LinkError
 */
export async function readProfile(
  connection: Connection,
  limit: { readonly clock: Clock; readonly ms: number; readonly signal: Abort },
): Promise<MeterProfile> {
  const characteristics: ProfiledCharacteristic[] = [];
  for (const c of connection.characteristics) {
    let presentationFormat: Uint8Array | null = null;
    if (c.descriptors.includes(PRESENTATION_FORMAT)) {
      try {
        const reading = connection.readDescriptor(c, PRESENTATION_FORMAT);
        presentationFormat = await withTimeLimit(reading, { ...limit, what: 'Reading a description' });
      } catch (error) {
        if (!(error instanceof LinkError) || error.code !== 'refused') throw error;
      }
    }
    characteristics.push({ ...c, presentationFormat });
  }
  return { name: connection.meter.name, characteristics };
}
