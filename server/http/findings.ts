import { findStoredNight, analysisOptionsOf } from '../capture/nightInput.ts';
import type { FindNightOptions } from '../battery/findings.ts';
import { RunningNights } from '../capture/runningNights.ts';
import { findingsSchema, type AnalysisOptions, type Findings } from '../messages/findings.ts';
import type { Recording } from '../messages/records.ts';
import type { Store } from '../store/store.ts';

/** Documents of so many different questions are kept. */
const MOST_KEPT = 64;

/** Analyses recordings on request; an answer is kept for as long as nothing that it rests on has changed. */
export class FindingsDesk {
  private readonly kept = new Map<string, { readonly basis: string; readonly findings: Findings }>();

  private readonly running: RunningNights;

  constructor(private readonly store: Store) {
    this.running = new RunningNights(store);
  }

  /** What is not asked for comes from the recording's case. @throws NightdrawError not-found */
  findingsOf(recordingId: string, asked: AnalysisOptions): Findings {
    const recording = this.store.getRecording(recordingId);
    const theCase = recording.caseId === null ? null : this.store.getCase(recording.caseId);
    const options = analysisOptionsOf(theCase, asked);
    const question = JSON.stringify([recordingId, options]);
    const basis = this.basisOf(recording);
    const kept = this.kept.get(question);
    if (kept?.basis === basis) return kept.findings;
    const findings = checked(this.analyse(recording, options));
    this.kept.delete(question);
    this.kept.set(question, { basis, findings });
    if (this.kept.size > MOST_KEPT) this.kept.delete(this.kept.keys().next().value!);
    return findings;
  }

  private analyse({ id, state }: Recording, options: FindNightOptions): Findings {
    if (state === 'recording') return this.running.findingsOf(id, options);
    this.running.forget(id);
    return findStoredNight(this.store, id, options);
  }

  /** Changes with every sample, gap, event and zero check, none of which is ever taken back. */
  private basisOf({ id, state, durationMs, channels }: Recording): string {
    const events = this.store.listEvents(id).length;
    const gaps = this.store.listGaps(id).length;
    const zeros = this.store.listZeroChecks(id).length;
    return JSON.stringify([state, durationMs, channels.map((c) => c.samples), events, gaps, zeros]);
  }
}

/** A document that does not fit its own schema is a fault of ours, and never leaves the server. */
function checked(findings: Findings): Findings {
  const parsed = findingsSchema.safeParse(findings);
  if (parsed.success) return parsed.data;
  throw new Error(`The findings do not fit their schema: ${parsed.error.message}`);
}
