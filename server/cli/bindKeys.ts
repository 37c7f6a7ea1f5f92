import { existsSync, readFileSync } from 'node:fs';
import path from 'node:path';
import { z } from 'zod';
import type { Secrets } from '../../drivers/core/driver.ts';
import { decryptCcm } from '../../drivers/links/node/decrypt.ts';
import { UsageError } from './command.ts';

/** Beside the database: {"c0:de:00:00:00:01": "231d39c1d7cc1ab1aee224cd096db932"}, an address and its key. */
const FILE = 'bind-keys.json';

const fileSchema = z.record(
  z
    .string()
    .regex(/^([0-9a-f]{2}:){5}[0-9a-f]{2}$/i, 'an address is six pairs of hexadecimal digits with colons'),
  z.string().regex(/^[0-9a-f]{32}$/i, 'a bind key has 32 hexadecimal digits'),
);

/**
 * Keys of meters that encrypt what they broadcast; none where there is no such file.
 * @throws UsageError when the file cannot be read
 */
export function readBindKeys(folder: string): (meterId: string) => Secrets | null {
  const file = path.join(folder, FILE);
  if (!existsSync(file)) return () => null;
  let content: unknown;
  try {
    content = JSON.parse(readFileSync(file, 'utf8'));
  } catch {
    throw new UsageError(`${file} cannot be read; it must be JSON: {"ADDRESS": "KEY"}.`);
  }
  const parsed = fileSchema.safeParse(content);
  if (!parsed.success) {
    const issue = parsed.error.issues[0]!;
    const { message } = issue.code === 'invalid_key' ? issue.issues[0]! : issue;
    throw new UsageError(`${[file, ...issue.path].join(': ')}: ${message}.`);
  }
  const keys = new Map(Object.entries(parsed.data).map(([id, hex]) => [id.toLowerCase(), hex]));
  return (meterId) => {
    const hex = keys.get(meterId);
    return hex === undefined ? null : { key: Uint8Array.from(Buffer.from(hex, 'hex')), decrypt: decryptCcm };
  };
}
