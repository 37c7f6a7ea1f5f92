import type { Warning, WatchReport } from '../../server/messages/watch.ts';
import { readNumber } from './caseForm.ts';

/** The settings of a watch as they stand in the form. Empty: not watched for. */
export interface WatchForm {
  readonly floorV: string;
  readonly quietMin: string;
  readonly awakeMin: string;
  readonly diskMb: string;
  /** Empty: as it was. */
  readonly webhook: string;
  readonly dropWebhook: boolean;
}

/** What most nights want; the same as the server's own defaults. */
export const USUAL_WATCH: WatchForm = {
  floorV: '11.8',
  quietMin: '2',
  awakeMin: '90',
  diskMb: '500',
  webhook: '',
  dropWebhook: false,
};

export function watchFormOf(armed: WatchReport['armed']): WatchForm {
  if (armed === null) return USUAL_WATCH;
  const text = (value: number | null, unit = 1): string => (value === null ? '' : String(value / unit));
  return {
    floorV: text(armed.floorV),
    quietMin: text(armed.quietS, 60),
    awakeMin: text(armed.awakeAfterS, 60),
    diskMb: text(armed.diskFreeMb),
    webhook: '',
    dropWebhook: false,
  };
}

export type WatchErrors = Readonly<Partial<Record<keyof WatchForm, string>>>;
export type CheckedWatch =
  | { readonly ok: true; readonly settings: WatchSettingsBody }
  | { readonly ok: false; readonly errors: WatchErrors };

export interface WatchSettingsBody {
  readonly floorV: number | null;
  readonly quietS: number | null;
  readonly awakeAfterS: number | null;
  readonly diskFreeMb: number | null;
  /** Absent: as it was. */
  readonly webhook?: string | null;
}

const LIMITS = {
  floorV: { unit: 1, from: 1, to: 60, says: 'Volts from 1 to 60, or empty.' },
  quietMin: { unit: 60, from: 10, to: 86_400, says: 'Minutes from 0.2 to 1440, or empty.' },
  awakeMin: { unit: 60, from: 60, to: 604_800, says: 'Minutes from 1 to 10080, or empty.' },
  diskMb: { unit: 1, from: 1, to: 10_000_000, says: 'Megabytes above 1, or empty.' },
} as const;

export function checkWatch(form: WatchForm): CheckedWatch {
  const errors: Partial<Record<keyof WatchForm, string>> = {};
  const number = (name: keyof typeof LIMITS): number | null => {
    if (form[name].trim() === '') return null;
    const { unit, from, to, says } = LIMITS[name];
    const value = (readNumber(form[name]) ?? NaN) * unit;
    if (!(value >= from && value <= to)) errors[name] = says;
    return value;
  };
  const settings = {
    floorV: number('floorV'),
    quietS: number('quietMin'),
    awakeAfterS: number('awakeMin'),
    diskFreeMb: number('diskMb'),
  };
  const webhook = form.webhook.trim();
  if (webhook !== '' && !/^https?:\/\/[^\s/@]+(\/\S*)?$/i.test(webhook))
    errors.webhook = 'An address that begins with http:// or https://, without a user name.';
  if (Object.keys(errors).length > 0) return { ok: false, errors };
  if (webhook !== '') return { ok: true, settings: { ...settings, webhook } };
  return { ok: true, settings: form.dropWebhook ? { ...settings, webhook: null } : settings };
}

/** What is being watched for, in one line. */
export function armedText({
  floorV,
  quietS,
  awakeAfterS,
  diskFreeMb,
  webhookHost,
}: NonNullable<WatchReport['armed']>): string {
  const parts = [
    floorV === null ? '' : `the battery below ${floorV} V`,
    quietS === null ? '' : `a meter quiet for ${minutes(quietS)}`,
    awakeAfterS === null ? '' : `the car awake after ${minutes(awakeAfterS)}`,
    diskFreeMb === null ? '' : `less than ${diskFreeMb} MB on the disk`,
  ].filter(Boolean);
  const what =
    parts.length === 0 ? 'Armed, but nothing is watched for.' : `Armed: warns of ${parts.join(', ')}.`;
  return webhookHost === null ? what : `${what} Also tells ${webhookHost}.`;
}

function minutes(seconds: number): string {
  return seconds < 60 ? `${seconds} s` : `${Number((seconds / 60).toFixed(1))} min`;
}

/**
 * When to sound: three times for each warning that begins, a while apart, then no more; and no more at once when
 * somebody has heard it.
 */
export class Alarm {
  private sounded = new Map<string, { times: number; lastMs: number }>();

  /** Called with the warnings that hold; true: sound now. */
  due(warnings: readonly Warning[], nowMs: number): boolean {
    const now = new Map<string, { times: number; lastMs: number }>();
    let due = false;
    for (const w of warnings) {
      const key = `${w.code} ${w.subject} ${w.atMs}`;
      const before = this.sounded.get(key) ?? { times: 0, lastMs: -Infinity };
      const again = before.times < TIMES && nowMs - before.lastMs >= APART_MS;
      now.set(key, again ? { times: before.times + 1, lastMs: nowMs } : before);
      due ||= again;
    }
    this.sounded = now;
    return due;
  }

  /** Somebody is there. */
  heard(): void {
    for (const s of this.sounded.values()) s.times = TIMES;
  }

  get isPending(): boolean {
    return [...this.sounded.values()].some((s) => s.times < TIMES);
  }
}

const TIMES = 3;
const APART_MS = 20_000;
