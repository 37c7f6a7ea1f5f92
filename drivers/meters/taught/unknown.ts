import type { ProfiledCharacteristic } from '../../core/driver.ts';
import { shortOf } from '../../core/uuid.ts';

/** Assigned by the SIG, or describing itself. Makers also use short numbers from 0xF000 up for their own. */
export function isStandard(c: ProfiledCharacteristic): boolean {
  const short = shortOf(c.characteristic);
  return (short !== null && short < 0xf000) || c.presentationFormat !== null;
}
