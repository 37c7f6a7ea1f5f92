import { createHash } from 'node:crypto';
import { createReadStream, readdirSync, readFileSync, statSync, writeFileSync } from 'node:fs';
import path from 'node:path';
import { pipeline } from 'node:stream/promises';
import { BAGIT, readManifest } from '../evidence/bag.ts';

/** A folder as a bag (BagIt 1.0, RFC 8493), its files too large to be held in memory. */

/** Makes a bag of `folder`, whose payload is in `folder`/data already. */
export async function makeBag(folder: string, info: Readonly<Record<string, string>>): Promise<void> {
  const lines: string[] = [];
  let octets = 0;
  const files = filesUnder(folder, 'data');
  for (const name of files) {
    lines.push(`${await digestOf(path.join(folder, name))}  ${name}\n`);
    octets += statSync(path.join(folder, name)).size;
  }
  const facts = { ...info, 'Payload-Oxum': `${octets}.${files.length}` };
  const write = (name: string, text: string) =>
    writeFileSync(path.join(folder, name), text, { mode: 0o600, flush: true });
  write('bagit.txt', BAGIT);
  write(
    'bag-info.txt',
    Object.entries(facts)
      .map(([k, v]) => `${k}: ${v}\n`)
      .join(''),
  );
  write('manifest-sha256.txt', lines.join(''));
}

/** What is wrong with the bag, in a sentence; null where every file is what the manifest says, and no other is there. */
export async function faultOfBag(folder: string): Promise<string | null> {
  let manifest: Map<string, string>;
  try {
    if (readFileSync(path.join(folder, 'bagit.txt'), 'utf8') !== BAGIT) return 'It is no bag of version 1.0.';
    manifest = readManifest(readFileSync(path.join(folder, 'manifest-sha256.txt'), 'utf8'));
  } catch {
    return 'Its list of files is missing or damaged.';
  }
  const present = filesUnder(folder, 'data');
  const extra = present.find((name) => !manifest.has(name));
  if (extra !== undefined) return `${extra} is in it but not in its list of files.`;
  for (const [name, digest] of manifest) {
    if (!present.includes(name)) return `${name} is missing.`;
    if ((await digestOf(path.join(folder, name))) !== digest) return `${name} is damaged.`;
  }
  return null;
}

/** Plain files under `folder`/`within`, by their names from `folder` with slashes, in the order of names. */
export function filesUnder(folder: string, within: string): string[] {
  return readdirSync(path.join(folder, within), { withFileTypes: true })
    .flatMap((entry) => {
      const name = within === '' ? entry.name : `${within}/${entry.name}`;
      return entry.isDirectory() ? filesUnder(folder, name) : entry.isFile() ? [name] : [];
    })
    .sort((a, b) => (a < b ? -1 : 1));
}

async function digestOf(file: string): Promise<string> {
  const hash = createHash('sha256');
  await pipeline(createReadStream(file), hash);
  return hash.digest('hex');
}
