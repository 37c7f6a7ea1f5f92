import { shortOf, type Uuid } from './uuid.ts';

/** A key that stays the same over reconnects: the characteristic and how many of it came before. */
export function channelKey(characteristic: Uuid, before: readonly { readonly key: string }[]): string {
  const short = shortOf(characteristic);
  const stem = short === null ? characteristic.replaceAll('-', '') : short.toString(16).padStart(4, '0');
  return `${stem}.${before.filter((c) => c.key.startsWith(`${stem}.`)).length}`;
}
