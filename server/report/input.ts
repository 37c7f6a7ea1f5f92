import type { CaseAttempts } from '../messages/attempts.ts';
import type { Note, Photo } from '../messages/casePapers.ts';
import type { Checklist } from '../messages/checklist.ts';
import type { Findings } from '../messages/findings.ts';
import type { FuseWalk } from '../messages/fuses.ts';
import type { RecordedMeterRecord } from '../messages/meterRecord.ts';
import type { Case, Gap, Recording, RecordingEvent } from '../messages/records.ts';
import type { Issued } from '../messages/seal.ts';
import type { ZeroCheck } from '../messages/zeroCheck.ts';
import type { Buckets } from '../samples/buckets.ts';

/** For whom: the workshop gets everything, the customer one page. */
export type Reader = 'workshop' | 'customer';

/** Fingerprint of the key that seals here, root of the sealed blocks, and the bundle that was made last. */
export interface ReportSeal {
  readonly key: string;
  readonly root: string | null;
  /** `this` where the report lies in the bundle itself. */
  readonly bundle: Pick<Issued, 'at' | 'sha256'> | 'this' | null;
}

export interface ReportInput {
  readonly recording: Recording;
  readonly case: Case | null;
  readonly findings: Findings;
  readonly events: readonly RecordingEvent[];
  readonly gaps: readonly Gap[];
  /** Highs and lows of each channel over the night, in the recording's order. */
  readonly extremes: readonly Buckets[];
  /** Records of the meters as they were when the recording began. */
  readonly meters: readonly RecordedMeterRecord[];
  readonly zeroChecks: readonly ZeroCheck[];
  /** Tries at the handle of the whole case; null where there is no case. */
  readonly tries: CaseAttempts | null;
  readonly fuses: FuseWalk | null;
  readonly checklist: Checklist | null;
  readonly photos: readonly ReportPhoto[];
  /** Of the case, oldest first. */
  readonly notes: readonly Pick<Note, 'addedAt' | 'text'>[];
  readonly version: string;
  /** When the report was made, UTC. */
  readonly madeAt: string;
  readonly seal: ReportSeal | null;
}

export interface ReportPhoto extends Pick<Photo, 'kind' | 'caption' | 'type'> {
  readonly octets: Uint8Array;
}
