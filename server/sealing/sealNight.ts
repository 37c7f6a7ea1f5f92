import { createHash } from 'node:crypto';
import { deflateRawSync } from 'node:zlib';
import { writeBundle } from '../evidence/bundle.ts';
import { faultOfHeads } from '../evidence/heads.ts';
import { unhex } from '../evidence/octets.ts';
import type { Signer } from '../evidence/signing.ts';
import type { Part, SealedRecord } from '../evidence/statement.ts';
import type { Members } from '../evidence/zip.ts';
import { ZipWriter } from '../evidence/zipWriter.ts';
import { NightdrawError } from '../messages/errors.ts';
import type { Case, Recording } from '../messages/records.ts';
import type { Store } from '../store/store.ts';
import { nodeChecker, nodeHash } from './checker.ts';
import { dossierOf, type Dossier } from './dossier.ts';
import { logFile, readLog, type SealLog } from './headLog.ts';
import { blocksToSeal, nightBlocks, type NightBlocks } from './nightBlocks.ts';

/** Columns of digits get a fiftieth smaller where it packs ten times as long. */
const PACKING = 5;

export interface SealOptions {
  readonly data: string;
  readonly signer: Signer;
  readonly version: string;
  readonly sealedAt: string;
  readonly without: readonly Part[];
  /** Files to go along, by their name under data/. */
  readonly extras?: Members;
}

/**
 * What is to be sealed of a recording, once it is known to be what was sealed before.
 * @throws NightdrawError not-found; conflict where the database is not what was sealed, or the recording still runs
 */
export function sealable(store: Store, recordingId: string, data: string): NightBlocks {
  const log = readLog(logFile(data, recordingId));
  const night = nightBlocks(store, recordingId, log);
  if (night.recording.state === 'recording')
    throw new NightdrawError('conflict', 'The recording is still running; stop it first.');
  const faults = [...night.faults, ...faultsOfHeads(log)];
  if (faults.length > 0)
    throw new NightdrawError('conflict', `This recording was changed after it was sealed. ${faults[0]!}`);
  return night;
}

/**
 * Seals a stored recording as a bundle, with the blocks that were sealed while it was recorded where there are such.
 * It is written piece by piece; `write` need not keep what it was given.
 * @returns SHA-256 of the bundle, hexadecimal
 * @throws NightdrawError as `sealable`
 */
export function sealNight(
  store: Store,
  recordingId: string,
  options: SealOptions,
  write: (octets: Uint8Array) => void,
  night: NightBlocks = sealable(store, recordingId, options.data),
  dossier: Dossier = dossierOf(store, recordingId),
): string {
  const { log, recording, events } = night;
  const whole = createHash('sha256');
  const zip = new ZipWriter(
    (octets) => {
      whole.update(octets);
      write(octets);
    },
    nodeHash(),
    (octets) => deflateRawSync(octets, { level: PACKING }),
  );
  writeBundle(
    {
      id: recordingId,
      sealedAt: options.sealedAt,
      version: options.version,
      record: sealedRecord(recording, dossier.case),
      blocks: blocksToSeal(store, recordingId, log),
      events,
      findings: { options: dossier.options, findings: dossier.findings },
      attachments: dossier.attachments,
      heads: log.heads,
      extras: options.extras ?? new Map<string, Uint8Array>(),
      without: options.without,
    },
    options.signer,
    nodeChecker.sha256,
    zip,
  );
  return whole.digest('hex');
}

/** What is wrong with the log of signed heads of a recording. */
export function faultsOfLog(data: string, recordingId: string): string[] {
  return faultsOfHeads(readLog(logFile(data, recordingId)));
}

function faultsOfHeads({ leaves, heads }: SealLog): string[] {
  const hashes = leaves.map((l) => unhex(l.leaf.hash));
  const fault = faultOfHeads(heads, hashes, nodeChecker);
  return fault === null ? [] : [fault];
}

function sealedRecord(recording: Recording, theCase: Case | null): SealedRecord {
  const { kind, title, startedAt, zone, durationMs, provenance } = recording;
  const channels = recording.channels.map(({ id: _id, samples: _samples, ...input }) => input);
  let about: SealedRecord['case'] = null;
  if (theCase !== null) {
    const {
      id: _id,
      createdAt: _at,
      demo: _demo,
      recordings: _n,
      archivedAt: _away,
      deletedAt: _gone,
      ...rest
    } = theCase;
    about = rest;
  }
  return {
    schema: 'nightdraw.record/1',
    recording: { kind, title, startedAt, zone, durationMs, provenance, channels },
    case: about,
  };
}
