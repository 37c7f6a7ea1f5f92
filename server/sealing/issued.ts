import { appendFileSync, existsSync, mkdirSync, readFileSync, rmSync } from 'node:fs';
import path from 'node:path';
import { canonicalJson } from '../evidence/canonical.ts';
import { issuedSchema, type Issued } from '../messages/seal.ts';

/**
 * Which bundles were made of a recording, seals/<id>.bundles.jsonl in the data folder: so that a report can name the
 * file that answers for it. Nothing depends on it: a bundle is checked without.
 */

function fileOf(data: string, recordingId: string): string {
  return path.join(data, 'seals', `${recordingId}.bundles.jsonl`);
}

export function noteIssued(data: string, recordingId: string, issued: Issued): void {
  const file = fileOf(data, recordingId);
  mkdirSync(path.dirname(file), { recursive: true });
  appendFileSync(file, `${canonicalJson(issued)}\n`);
}

/** Oldest first; a line that was cut off or cannot be read is left out. */
export function issuedBundles(data: string, recordingId: string): Issued[] {
  const file = fileOf(data, recordingId);
  if (!existsSync(file)) return [];
  return readFileSync(file, 'utf8')
    .split('\n')
    .flatMap((line) => {
      try {
        return [issuedSchema.parse(JSON.parse(line))];
      } catch {
        return [];
      }
    });
}

export function dropIssued(data: string, recordingId: string): void {
  rmSync(fileOf(data, recordingId), { force: true });
}
