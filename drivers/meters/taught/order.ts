import type { Driver } from '../../core/driver.ts';
import type { MeterDescription } from '../../teach/description.ts';
import { taughtDriver } from './driver.ts';

/**
 * All drivers in the order in which they are asked: taught meters before those of last resort, the newest first.
 * @param descriptions oldest first
 */
export function withTaught(own: readonly Driver[], descriptions: readonly MeterDescription[]): Driver[] {
  const taught = [...descriptions].reverse().map(taughtDriver);
  return [...own.filter((d) => !d.lastResort), ...taught, ...own.filter((d) => d.lastResort)];
}
