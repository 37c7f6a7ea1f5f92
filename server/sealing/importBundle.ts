import type { LoggedLeaf } from './headLog.ts';
import { appendHead, logFile, writeLog } from './headLog.ts';
import { textOfUtf8 } from '../evidence/octets.ts';
import type { Signer } from '../evidence/signing.ts';
import type { Attachments } from '../evidence/attachments.ts';
import { eventsSchema, readDocument, type SealedRecord } from '../evidence/statement.ts';
import { verifyBundle, type Verification } from '../evidence/verify.ts';
import { unzip } from '../evidence/zip.ts';
import { NightdrawError } from '../messages/errors.ts';
import type { Recording } from '../messages/records.ts';
import type { Store } from '../store/store.ts';
import { nodeChecker } from './checker.ts';

/** Whether the octets are a zip file, as a bundle is and a CSV never. */
export function isZip(octets: Uint8Array): boolean {
  return octets[0] === 0x50 && octets[1] === 0x4b && octets[2]! < 9;
}

export interface BundleImport {
  readonly name: string;
  readonly data: string;
  /** Null: the case that is in the bundle, if any, becomes a new one. */
  readonly caseId: string | null;
  readonly signer: () => Signer;
  readonly at: string;
}

/**
 * Brings a sealed bundle into the store as the recording that it was, with its seals, so that it can be verified and
 * sealed again. A bundle that is not intact is refused whole.
 * @throws NightdrawError unreadable-file, not-found, store-full, store-failed
 */
export function importBundle(store: Store, file: Uint8Array, options: BundleImport): Recording {
  const checked = verifyBundle(file, nodeChecker);
  if (checked.contents === null)
    throw new NightdrawError('unreadable-file', `${options.name}: ${checked.sentence}`);
  const recording = storeContents(store, checked, checked.contents, options);
  const log = logOf(file, checked);
  const path = logFile(options.data, recording.id);
  writeLog(path, log);
  if (log.leaves.length > 0) {
    const head = { log: checked.statement!.recording, at: options.at };
    appendHead(path, log, [], head, options.signer());
  }
  return recording;
}

function storeContents(
  store: Store,
  { statement, signedBy }: Verification,
  { record, columns, events, attachments }: NonNullable<Verification['contents']>,
  options: BundleImport,
): Recording {
  const { channels, durationMs, ...about } = record.recording;
  const origin = `From the sealed bundle ${statement!.bag}, signed by the key ${signedBy}.`;
  return store.atomically(() => {
    const own =
      options.caseId === null && record.case !== null ? caseFrom(store, record.case, attachments) : null;
    const made = store.createRecording({
      ...about,
      caseId: options.caseId ?? own,
      provenance: [about.provenance, origin].filter(Boolean).join('\n').slice(0, 4000),
      title: about.title === '' ? statement!.bag : about.title,
      state: 'recording',
      channels,
      meters: attachments.meters,
    });
    if (attachments.checklist !== null) store.writeChecklist(made.id, attachments.checklist);
    for (const check of attachments.zeroChecks) store.addZeroCheck(made.id, check);
    store.commit({
      recordingId: made.id,
      samples: columns.map((c, k) => ({ channelId: made.channels[k]!.id, columns: c })),
      gaps: events.gaps.map(({ channel, ...gap }) => ({ ...gap, channelId: made.channels[channel]!.id })),
      events: events.events,
      batch: null,
    });
    return store.stopRecording(made.id, durationMs);
  });
}

/** The case as it was, with all that hangs on it. */
function caseFrom(
  store: Store,
  sealed: NonNullable<SealedRecord['case']>,
  { photos, notes, circuits }: Attachments,
): string {
  const { measuredThreshold, ...input } = sealed;
  const { id } = store.createCase(input);
  if (measuredThreshold) store.setMeasuredThreshold(id, measuredThreshold);
  for (const { kind, caption, octets } of photos) store.addPhoto(id, { kind, caption }, octets);
  for (const { text } of notes) store.addNote(id, { text });
  if (circuits !== null) store.writeFuseWalk(id, { lines: circuits.lines, clampA: circuits.clampA });
  return id;
}

function logOf(file: Uint8Array, { statement }: Verification) {
  const { members } = unzip(file, nodeChecker.sha256);
  const get = (name: string) => members.get(`${statement!.bag}/${name}`);
  const leaves = statement!.tree.leaves.map(({ file: name, withheld, ...leaf }): LoggedLeaf => ({
    leaf,
    events: leaf.kind === 'events' && !withheld ? readDocument(eventsSchema, get(name)!) : null,
  }));
  const heads = get('data/heads.jsonl');
  const lines = heads === undefined ? [] : textOfUtf8(heads).split('\n').slice(0, -1);
  return { leaves, heads: lines, isDamaged: false };
}
