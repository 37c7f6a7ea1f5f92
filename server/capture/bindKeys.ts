import { existsSync, readFileSync, renameSync, writeFileSync } from 'node:fs';
import path from 'node:path';
import type { Decrypt, Secrets } from '../../drivers/core/driver.ts';
import { NightdrawError } from '../messages/errors.ts';
import { bindKeyFileSchema, METER_ADDRESS } from '../messages/meterSettings.ts';

/** Beside the database: {"c0:de:00:00:00:01": "231d39c1d7cc1ab1aee224cd096db932"}, an address and its key. */
const FILE = 'bind-keys.json';

/** Keys of meters that encrypt what they broadcast. None of them leaves this object but to a driver. */
export interface BindKeys {
  secretsOf(meterId: string): Secrets | null;
  /** Meters that have one. */
  list(): string[];
  /** Null takes it away; the file is written at once. @throws NightdrawError bad-request, store-failed */
  set(meterId: string, hex: string | null): void;
}

/** @throws NightdrawError bad-request when the file cannot be read */
export function openBindKeys(folder: string, decrypt: Decrypt): BindKeys {
  const file = path.join(folder, FILE);
  const keys = new Map(Object.entries(readFile(file)).map(([id, hex]) => [id.toLowerCase(), hex]));
  return {
    secretsOf(meterId) {
      const hex = keys.get(meterId.toLowerCase());
      return hex === undefined ? null : { key: Uint8Array.from(Buffer.from(hex, 'hex')), decrypt };
    },
    list: () => [...keys.keys()].sort(),
    set(meterId, hex) {
      const id = meterId.toLowerCase();
      if (!METER_ADDRESS.test(id))
        throw new NightdrawError('bad-request', 'Only a meter that is known by its address can have a key.');
      if (hex === null) keys.delete(id);
      else keys.set(id, hex);
      writeFile(file, Object.fromEntries(keys));
    },
  };
}

function readFile(file: string): Record<string, string> {
  if (!existsSync(file)) return {};
  let content: unknown;
  try {
    content = JSON.parse(readFileSync(file, 'utf8'));
  } catch {
    throw new NightdrawError('bad-request', `${file} cannot be read; it must be JSON: {"ADDRESS": "KEY"}.`);
  }
  const parsed = bindKeyFileSchema.safeParse(content);
  if (parsed.success) return parsed.data;
  const issue = parsed.error.issues[0]!;
  const { message } = issue.code === 'invalid_key' ? issue.issues[0]! : issue;
  throw new NightdrawError('bad-request', `${[file, ...issue.path].join(': ')}: ${message}.`);
}

/** Readable by its owner only; whole, or not at all. */
function writeFile(file: string, keys: Record<string, string>): void {
  try {
    writeFileSync(`${file}.new`, `${JSON.stringify(keys, null, 2)}\n`, { mode: 0o600 });
    renameSync(`${file}.new`, file);
  } catch {
    throw new NightdrawError('store-failed', `${file} cannot be written.`);
  }
}
