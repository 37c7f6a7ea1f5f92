import type { Meter } from '../../server/messages/meters.ts';
import {
  bindKeyRequestSchema,
  METER_ADDRESS,
  vendorServicesSchema,
} from '../../server/messages/meterSettings.ts';
import {
  meterDescriptionSchema,
  type MeterDescription,
  type TaughtMeter,
} from '../../server/messages/taughtMeters.ts';

/** Settings and descriptions of meters: from what a person typed or chose to what the server takes. */

export type Read<T> =
  { readonly ok: true; readonly value: T } | { readonly ok: false; readonly sentence: string };

/** The address of a meter of the server's radio that can have a bind key; null for any other. */
export function addressOf({ key, source }: Pick<Meter, 'key' | 'source'>): string | null {
  const address = key.slice(key.indexOf(':') + 1).toLowerCase();
  return source === 'server' && METER_ADDRESS.test(address) ? address : null;
}

/** 32 hexadecimal digits; spaces, dashes and colons between them are forgiven. */
export function readBindKey(text: string): Read<string> {
  const parsed = bindKeyRequestSchema.safeParse({ key: text.replaceAll(/[\s:-]/g, '') });
  return parsed.success && parsed.data.key !== null
    ? { ok: true, value: parsed.data.key }
    : { ok: false, sentence: 'A bind key is 32 hexadecimal digits (0 to 9, a to f).' };
}

/** One service a line, or with commas or spaces between. */
export function readServices(text: string): Read<string[]> {
  const written = [
    ...new Set(
      text
        .toLowerCase()
        .split(/[\s,;]+/)
        .filter((t) => t !== ''),
    ),
  ];
  const wrong = written.find((t) => !vendorServicesSchema.safeParse([t]).success);
  if (wrong !== undefined)
    return {
      ok: false,
      sentence: `"${wrong.slice(0, 40)}" is no service: write 4 hexadecimal digits, or 32 with dashes.`,
    };
  if (!vendorServicesSchema.safeParse(written).success)
    return { ok: false, sentence: 'At most 40 services.' };
  return { ok: true, value: written };
}

/** No description comes near this. */
const LONGEST_FILE = 200_000;

/** A meter description from a file. */
export function readDescription(text: string): Read<MeterDescription> {
  const refused = {
    ok: false,
    sentence: 'This file is no meter description of Nightdraw; nothing was added.',
  } as const;
  if (text.length > LONGEST_FILE) return refused;
  try {
    const parsed = meterDescriptionSchema.safeParse(JSON.parse(text));
    return parsed.success ? { ok: true, value: parsed.data } : refused;
  } catch {
    return refused;
  }
}

/** A name for the file of a description: its title in plain letters. */
export function descriptionFileName({ title }: MeterDescription): string {
  const plain = title
    .normalize('NFKD')
    .toLowerCase()
    .replaceAll(/[^a-z0-9]+/g, '-')
    .replaceAll(/^-+|-+$/g, '');
  return `${plain || 'meter'}.meter.json`;
}

/** Which meters a description is for, in words. */
export function taughtFor({ description: { source, nameStartsWith } }: TaughtMeter): string {
  const where =
    source === null ? 'Any meter that nothing else reads' : `Meters with ${source.characteristic}`;
  return nameStartsWith === null ? where : `${where}, named “${nameStartsWith}…”`;
}
