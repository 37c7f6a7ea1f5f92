import type { Abort, Clock } from '../core/clock.ts';
import { NO_DETAILS, type MeterDetails } from '../core/driver.ts';
import { LinkError } from '../core/errors.ts';
import type { Connection } from '../core/link.ts';
import { withTimeLimit } from '../core/timeLimit.ts';
import { uuid16, type Uuid } from '../core/uuid.ts';

/** Device Information and Battery of the Bluetooth SIG; a browser has to name them to be let in. */
export const DETAIL_SERVICES: readonly Uuid[] = [uuid16(0x180a), uuid16(0x180f)];

const TEXTS = [
  ['maker', uuid16(0x2a29)],
  ['model', uuid16(0x2a24)],
  ['serial', uuid16(0x2a25)],
  ['firmware', uuid16(0x2a26)],
] as const;
const BATTERY_LEVEL = uuid16(0x2a19);
const LONGEST_TEXT = 60;
/** Less than this in the charge of a meter's own cell is no news. */
const CELL_STEP_PERCENT = 5;

/**
 * What the meter says of itself. What it does not offer, refuses or cannot give in time stays null; nothing
 * here is an error, because readings do not depend on it.
 */
export async function readDetails(
  connection: Connection,
  limit: { readonly clock: Clock; readonly ms: number; readonly signal: Abort },
): Promise<MeterDetails> {
  const byMs = limit.clock.nowMs() + limit.ms;

  async function read(uuid: Uuid): Promise<Uint8Array | null> {
    const ref = connection.characteristics.find((c) => c.characteristic === uuid && c.canRead);
    const ms = byMs - limit.clock.nowMs();
    if (!ref || ms <= 0) return null;
    try {
      return await withTimeLimit(connection.read(ref), { ...limit, ms, what: 'Reading the details' });
    } catch (error) {
      if (!(error instanceof LinkError)) throw error;
      return null;
    }
  }

  const details: { -readonly [K in keyof MeterDetails]: MeterDetails[K] } = { ...NO_DETAILS };
  for (const [name, uuid] of TEXTS) {
    const bytes = await read(uuid);
    if (bytes !== null) details[name] = textOf(bytes);
  }
  const level = (await read(BATTERY_LEVEL))?.[0];
  if (level !== undefined && level <= 100) details.cellPercent = level;
  return details;
}

export function saysNothing(details: MeterDetails): boolean {
  return Object.values(details).every((value) => value === null);
}

/** One sentence for the meter's line and for the recording; at least one of the details is known. */
export function detailsText(d: MeterDetails): string {
  const facts = [
    d.maker === null ? '' : `made by ${d.maker}`,
    d.model === null ? '' : `model ${d.model}`,
    d.serial === null ? '' : `serial number ${d.serial}`,
    d.firmware === null ? '' : `firmware ${d.firmware}`,
    d.cellPercent === null ? '' : `its own cell at ${d.cellPercent} %`,
  ].filter((fact) => fact !== '');
  const text = facts.join(', ');
  return `${text.slice(0, 1).toUpperCase()}${text.slice(1)}.`;
}

/** Whether `b` is worth telling after `a`. */
export function detailsDiffer(a: MeterDetails, b: MeterDetails): boolean {
  const same = (['maker', 'model', 'serial', 'firmware'] as const).every((name) => a[name] === b[name]);
  if (!same || (a.cellPercent === null) !== (b.cellPercent === null)) return true;
  return Math.abs((a.cellPercent ?? 0) - (b.cellPercent ?? 0)) >= CELL_STEP_PERCENT;
}

/** UTF-8 without control characters; null where nothing is left. */
function textOf(bytes: Uint8Array): string | null {
  let text: string;
  try {
    text = decodeURIComponent(
      Array.from(bytes, (octet) => `%${octet.toString(16).padStart(2, '0')}`).join(''),
    );
  } catch {
    text = String.fromCharCode(...bytes); // not UTF-8, whatever the standard says
  }
  const shown = text.replace(/[\p{Cc}\p{Cf}]/gu, '').trim();
  return shown === '' ? null : shown.slice(0, LONGEST_TEXT);
}
