import {
  closeSync,
  existsSync,
  fsyncSync,
  ftruncateSync,
  mkdirSync,
  openSync,
  readFileSync,
  rmSync,
  writeSync,
} from 'node:fs';
import path from 'node:path';
import { z } from 'zod';
import { canonicalJson } from '../evidence/canonical.ts';
import { lineDigest, signHead } from '../evidence/heads.ts';
import { rootOf } from '../evidence/merkle.ts';
import { hex, unhex } from '../evidence/octets.ts';
import type { Signer } from '../evidence/signing.ts';
import { eventsSchema, leafSchema, type Leaf, type SealedEvents } from '../evidence/statement.ts';
import { nodeChecker } from './checker.ts';

/**
 * What was sealed of one recording, seals/<id>.jsonl in the data folder, beside the database and not in it: a line for
 * each leaf and a line for each signed head. Lines are only ever added.
 */

/** A leaf; `events` is what an events leaf hashed, null where it is not known. */
export interface LoggedLeaf {
  readonly leaf: Leaf;
  readonly events: SealedEvents | null;
}

export interface SealLog {
  readonly leaves: readonly LoggedLeaf[];
  /** Signed heads, each line as it was written. */
  readonly heads: readonly string[];
  /** A line in the middle that nobody can read: somebody was at the file. */
  readonly isDamaged: boolean;
}

const leafLineSchema = z.strictObject({ leaf: leafSchema, events: eventsSchema.nullable() });
const NOTHING: SealLog = { leaves: [], heads: [], isDamaged: false };

export function logFile(data: string, recordingId: string): string {
  return path.join(data, 'seals', `${recordingId}.jsonl`);
}

/** A last line without its line feed was cut off by a crash and does not count. */
export function readLog(file: string): SealLog {
  if (!existsSync(file)) return NOTHING;
  const leaves: LoggedLeaf[] = [];
  const heads: string[] = [];
  for (const line of readFileSync(file, 'utf8').split('\n').slice(0, -1)) {
    const value = jsonOf(line);
    const leaf = leafLineSchema.safeParse(value);
    if (leaf.success) leaves.push(leaf.data);
    else if (typeof value === 'object' && value !== null && 'head' in value) heads.push(line);
    else return { leaves, heads, isDamaged: true };
  }
  return { leaves, heads, isDamaged: false };
}

/** Adds leaves and a head over all of them; durable when it returns. @returns the log as it now is */
export function appendHead(
  file: string,
  log: SealLog,
  fresh: readonly LoggedLeaf[],
  head: { readonly log: string; readonly at: string },
  signer: Signer,
): SealLog {
  const leaves = [...log.leaves, ...fresh];
  const last = log.heads.at(-1);
  const line = signHead(
    {
      log: lastHeadOf(log)?.log ?? head.log,
      at: head.at,
      size: leaves.length,
      root: hex(
        rootOf(
          leaves.map((l) => unhex(l.leaf.hash)),
          nodeChecker.sha256,
        ),
      ),
      previous: last === undefined ? null : lineDigest(last, nodeChecker.sha256),
    },
    signer,
  );
  append(file, [...fresh.map((leaf) => canonicalJson(leaf)), line]);
  return { leaves, heads: [...log.heads, line], isDamaged: false };
}

/** A log that came with a bundle, before anything is added to it. */
export function writeLog(file: string, { leaves, heads }: SealLog): void {
  append(file, [...leaves.map((leaf) => canonicalJson(leaf)), ...heads]);
}

export function dropLog(file: string): void {
  rmSync(file, { force: true });
}

function append(file: string, lines: readonly string[]): void {
  if (lines.length === 0) return;
  mkdirSync(path.dirname(file), { recursive: true });
  const whole = existsSync(file) ? readFileSync(file).lastIndexOf(0x0a) + 1 : 0;
  const handle = openSync(file, 'a');
  try {
    ftruncateSync(handle, whole);
    const octets = Buffer.from(lines.map((line) => `${line}\n`).join(''));
    for (let at = 0; at < octets.length;) at += writeSync(handle, octets, at);
    fsyncSync(handle);
  } finally {
    closeSync(handle);
  }
}

/** The newest head, as it says of itself; null before the first. */
export function lastHeadOf({ heads }: SealLog): { readonly log: string; readonly at: string } | null {
  const last = heads.at(-1);
  return last === undefined ? null : (JSON.parse(last) as { head: { log: string; at: string } }).head;
}

function jsonOf(line: string): unknown {
  try {
    return JSON.parse(line);
  } catch {
    return null;
  }
}
