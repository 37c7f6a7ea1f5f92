import type { Buckets } from '../samples/buckets.ts';
import type { SampleColumns } from '../samples/columns.ts';
import type { Note, NoteInput, Photo, PhotoInput } from '../messages/casePapers.ts';
import type { Checklist } from '../messages/checklist.ts';
import type { KeptFuseWalk } from '../messages/fuses.ts';
import type { KeptMeterRecord, MeterRecord, RecordedMeterRecord } from '../messages/meterRecord.ts';
import type { MeterDescription, TaughtMeter } from '../messages/taughtMeters.ts';
import type { WatchSettings } from '../messages/watch.ts';
import type { HeldZeroCheck, ZeroCheck } from '../messages/zeroCheck.ts';
import type {
  Case,
  CaseInput,
  ChannelInput,
  Channel,
  Gap,
  MeasuredThreshold,
  Recording,
  RecordingEvent,
} from '../messages/records.ts';

/** One durable step of a recording: all of it is kept, or none. */
export interface Commit {
  readonly recordingId: string;
  readonly samples: readonly { readonly channelId: number; readonly columns: SampleColumns }[];
  readonly gaps: readonly Gap[];
  readonly events: readonly RecordingEvent[];
  /** A numbered batch of one meter (see server/messages/socket.ts); null for the server's own meters. */
  readonly batch: { readonly meterKey: string; readonly number: number } | null;
}

export type CommitResult =
  | { readonly kind: 'stored' }
  /** The batch number was seen before; nothing was written. */
  | { readonly kind: 'duplicate'; readonly upTo: number }
  /** A batch is missing before this one; nothing was written. */
  | { readonly kind: 'out-of-order'; readonly expected: number };

export interface NewRecording {
  readonly caseId: string | null;
  readonly kind: Recording['kind'];
  readonly title: string;
  readonly startedAt: string | null;
  readonly zone: string | null;
  readonly provenance: string;
  readonly state: Recording['state'];
  readonly channels: readonly ChannelInput[];
  /** Records of its meters as they are now. */
  readonly meters?: readonly RecordedMeterRecord[];
}

/**
 * What outlives a power cut. Every method is synchronous and every write is durable when it returns.
 * Errors are NightdrawError: not-found, conflict, store-full (nothing was written; what was acknowledged
 * before stays), store-failed.
 */
export interface Store {
  createCase(input: CaseInput, options?: { readonly demo?: boolean }): Case;
  updateCase(id: string, input: CaseInput): Case;
  /** Its recordings stay, without a case. What hangs on it comes back with `restoreCase` until `purge`. */
  deleteCase(id: string): void;
  /** With those of its recordings that nobody moved meanwhile. */
  restoreCase(id: string): Case;
  archiveCase(id: string, archived: boolean): Case;
  /** Not of deleted ones. */
  getCase(id: string): Case;
  /** Archived ones too. */
  listCases(): Case[];
  /** Last deleted first. */
  listDeletedCases(): Case[];
  /** Removes for good what was deleted before. @returns how many cases, photos and notes */
  purge(deletedBefore: string): number;

  /**
   * Keeps a picture without its own notes on place, camera and time.
   * @throws NightdrawError unreadable-file, too-large; conflict when the case is full of them
   */
  addPhoto(caseId: string, input: PhotoInput, octets: Uint8Array): Photo;
  /** Oldest first. */
  listPhotos(caseId: string): Photo[];
  readPhoto(id: string): { readonly photo: Photo; readonly octets: Uint8Array };
  changePhoto(id: string, input: PhotoInput): Photo;
  deletePhoto(id: string): void;
  restorePhoto(id: string): Photo;
  addNote(caseId: string, input: NoteInput): Note;
  /** Oldest first. */
  listNotes(caseId: string): Note[];
  changeNote(id: string, input: NoteInput): Note;
  deleteNote(id: string): void;
  restoreNote(id: string): Note;
  /** Null where none was filled in. */
  readChecklist(recordingId: string): Checklist | null;
  writeChecklist(recordingId: string, checklist: Checklist): void;

  /** The threshold that a person took over from the tries of this car, or null to go back. */
  setMeasuredThreshold(caseId: string, measured: MeasuredThreshold | null): Case;
  /** Null before the first fuse. */
  readFuseWalk(caseId: string): KeptFuseWalk | null;
  writeFuseWalk(caseId: string, walk: KeptFuseWalk): void;

  createRecording(input: NewRecording): Recording;
  addChannel(recordingId: string, input: ChannelInput): Channel;
  getRecording(id: string): Recording;
  listRecordings(caseId?: string): Recording[];
  /** Those that go on, or that a crash left going on; newest first. */
  unfinishedRecordings(): Recording[];
  stopRecording(id: string, durationMs: number): Recording;
  moveRecording(id: string, caseId: string | null): Recording;
  deleteRecording(id: string): void;
  /** What an overnight test watches for; null where it is not armed. */
  readWatch(recordingId: string): WatchSettings | null;
  writeWatch(recordingId: string, settings: WatchSettings | null): void;

  /** In the order of their keys. */
  listMeterRecords(): KeptMeterRecord[];
  readMeterRecord(meterKey: string): MeterRecord | null;
  /** Null takes it away; recordings keep the record that they began with. */
  writeMeterRecord(meterKey: string, record: MeterRecord | null): void;
  listRecordedMeters(recordingId: string): RecordedMeterRecord[];
  /** Ordered by time. */
  listZeroChecks(recordingId: string): ZeroCheck[];
  addZeroCheck(recordingId: string, check: ZeroCheck): void;
  /** Checks that wait for the next recording of their meter, in the order of its key. */
  listHeldZeroChecks(): HeldZeroCheck[];
  /** In place of those that wait for this meter; none takes them away. */
  holdZeroChecks(meterKey: string, checks: readonly HeldZeroCheck[]): void;
  /** Descriptions of taught meters, oldest first; one that is there already is not added again. */
  listTaughtMeters(): TaughtMeter[];
  addTaughtMeter(description: MeterDescription): TaughtMeter;
  deleteTaughtMeter(id: string): void;

  commit(step: Commit): CommitResult;
  /** Several steps in one write to the disk: all are kept, or none when one throws. One result for each step. */
  commitAll(steps: readonly Commit[]): CommitResult[];
  /** The last batch number stored for a meter of a recording; 0 before the first. */
  lastBatch(recordingId: string, meterKey: string): number;

  /**
   * Samples of a channel in the order they were recorded; optionally only blocks that touch [fromMs, toMs].
   * Damaged blocks are left out, the rest comes back as it was recorded; `listGaps` says what is missing.
   */
  readSamples(channelId: number, fromMs?: number, toMs?: number): SampleColumns;
  /** The same for the whole channel, in pieces, so that a month need not be in memory; what comes later is not in it. */
  partsOf(channelId: number): Iterable<SampleColumns>;
  /**
   * What a chart of `buckets` parts of [fromMs, toMs] can show of some channels, one answer each in their order: the
   * lowest and highest live value of each part, or the live samples themselves where they are no more than `buckets`.
   * No peak is lost, and none is made up. In a long window a peak may also count in the part beside its own, where
   * fewer than 32 instants lie between it and the edge; where parts are shorter than 32 instants, the samples
   * themselves are looked at, and each counts in its own part only.
   * @throws RangeError as `bucketsOf`
   */
  zoom(channelIds: readonly number[], fromMs: number, toMs: number, buckets: number): Buckets[];
  /** Ordered by start. Stored samples that can no longer be read are listed as gaps of reason 'damaged'. */
  listGaps(recordingId: string): Gap[];
  listEvents(recordingId: string): RecordingEvent[];

  /** Small facts about the store itself, for example that the demo nights are in; null where never written. */
  readSetting(key: string): string | null;
  writeSetting(key: string, value: string): void;

  /** Runs `work`; all that it writes is kept, or none of it when it throws. May be nested. */
  atomically<T>(work: () => T): T;

  close(): void;
}
