import type { FindNightOptions } from '../battery/findings.ts';
import { sumFuseWalk } from '../battery/fuseWalk.ts';
import { AttemptDesk } from '../capture/attempts.ts';
import { analysisOptionsOf, findStoredNight } from '../capture/nightInput.ts';
import type { AttachedPhoto, Attachments } from '../evidence/attachments.ts';
import type { Findings } from '../messages/findings.ts';
import type { Case, Gap, Recording, RecordingEvent } from '../messages/records.ts';
import type { Store } from '../store/store.ts';

/** All that is known of one recording but its samples: what a report tells and a bundle seals. */
export interface Dossier {
  readonly recording: Recording;
  readonly case: Case | null;
  readonly events: readonly RecordingEvent[];
  readonly gaps: readonly Gap[];
  readonly options: FindNightOptions;
  readonly findings: Findings;
  readonly attachments: Attachments;
}

/** @throws NightdrawError not-found */
export function dossierOf(store: Store, recordingId: string): Dossier {
  const recording = store.getRecording(recordingId);
  const theCase = recording.caseId === null ? null : store.getCase(recording.caseId);
  const options = analysisOptionsOf(theCase, {});
  return {
    recording,
    case: theCase,
    events: store.listEvents(recordingId),
    gaps: store.listGaps(recordingId),
    options,
    findings: findStoredNight(store, recordingId, options),
    attachments: {
      meters: store.listRecordedMeters(recordingId),
      zeroChecks: store.listZeroChecks(recordingId),
      attempts: new AttemptDesk(store).ofRecording(recordingId),
      circuits: theCase === null ? null : circuitsOf(store, theCase.id),
      checklist: store.readChecklist(recordingId),
      photos: theCase === null ? [] : photosOf(store, theCase.id),
      notes:
        theCase === null ? [] : store.listNotes(theCase.id).map(({ addedAt, text }) => ({ addedAt, text })),
    },
  };
}

/** Null where no fuse was measured. */
function circuitsOf(store: Store, caseId: string): Attachments['circuits'] {
  const kept = store.readFuseWalk(caseId);
  return kept === null || kept.lines.length === 0 ? null : sumFuseWalk(kept);
}

function photosOf(store: Store, caseId: string): AttachedPhoto[] {
  return store.listPhotos(caseId).map(({ id, kind, caption, addedAt, type }) => ({
    kind,
    caption,
    addedAt,
    type,
    octets: new Uint8Array(store.readPhoto(id).octets),
  }));
}
