import { estimateResolution } from '../analysis/sampling.ts';
import { LOOK_BACK_S, measureDip, RECOVER_WITHIN_S, type DipChannel } from '../battery/dip.ts';
import { estimateThreshold, type Try } from '../battery/threshold.ts';
import { OUTCOME_WORKED, type CaseAttempt, type CaseAttempts, type Dip } from '../messages/attempts.ts';
import { NightdrawError } from '../messages/errors.ts';
import type { Case, MeasuredThreshold, Recording } from '../messages/records.ts';
import { liveSeries } from '../samples/columns.ts';
import type { Store } from '../store/store.ts';

/** Readings of so long around a try are looked at. */
const BEFORE_MS = (2 * LOOK_BACK_S + 5) * 1000;
const AFTER_MS = (RECOVER_WITHIN_S + 5) * 1000;
const MOST_KEPT = 1000;

/** The tries at the handle of a case or of one recording, each with its dip, and what they say together. */
export class AttemptDesk {
  /** Dips that no later reading can change. */
  private readonly settled = new Map<string, Dip>();

  constructor(private readonly store: Store) {}

  /** @throws NightdrawError not-found */
  ofCase(caseId: string): CaseAttempts {
    const theCase = this.store.getCase(caseId);
    return this.together(this.store.listRecordings(caseId), theCase);
  }

  /** Those of the recording's case, or of the recording alone where it has none. @throws NightdrawError not-found */
  ofRecording(id: string): CaseAttempts {
    const recording = this.store.getRecording(id);
    return recording.caseId === null ? this.together([recording], null) : this.ofCase(recording.caseId);
  }

  /**
   * Takes the threshold of the tries over as this car's own.
   * @throws NightdrawError not-found; conflict where the tries carry no figure
   */
  take(caseId: string, nowUtcMs: number): Case {
    const { threshold } = this.ofCase(caseId);
    const { thresholdV, slope, method, tries } = threshold;
    if (
      thresholdV === null ||
      (slope !== null && slope <= 0) ||
      !(thresholdV.value > 0 && thresholdV.value <= 60)
    )
      throw new NightdrawError('conflict', threshold.says[0] ?? 'The tries carry no threshold yet.');
    const measured: MeasuredThreshold = {
      thresholdV: thresholdV.value,
      expandedUncertaintyV: thresholdV.expandedUncertainty,
      method,
      tries,
      takenAt: new Date(nowUtcMs).toISOString(),
    };
    return this.store.setMeasuredThreshold(caseId, measured);
  }

  private together(recordings: readonly Recording[], theCase: Case | null): CaseAttempts {
    const attempts = recordings.flatMap((r) => this.ofOne(r)).sort(byTime);
    return {
      caseId: theCase?.id ?? null,
      attempts,
      threshold: estimateThreshold(attempts.flatMap(tryOf)),
      measured: theCase?.measuredThreshold ?? null,
    };
  }

  private ofOne(recording: Recording): CaseAttempt[] {
    const events = this.store.listEvents(recording.id).filter((e) => e.kind === 'attempt');
    return events.map((event, i) => {
      const previousMs = events[i - 1]?.atMs ?? null;
      return {
        recordingId: recording.id,
        recordingTitle: recording.title,
        atS: event.atMs / 1000,
        at: recording.startedAt === null ? null : utcAt(recording.startedAt, event.atMs),
        outcome: event.outcome ?? null,
        text: event.text,
        dip: this.dipOf(recording, event.atMs, previousMs),
      };
    });
  }

  private dipOf(recording: Recording, atMs: number, previousMs: number | null): Dip {
    const key = `${recording.id} ${atMs} ${previousMs}`;
    const known = this.settled.get(key);
    if (known !== undefined) return known;
    const dip = measureDip({
      voltage: this.around(recording, 'voltage', atMs),
      current: this.around(recording, 'current', atMs),
      atS: atMs / 1000,
      previousS: previousMs === null ? null : previousMs / 1000,
    });
    if (recording.state === 'recording' && recording.durationMs < atMs + 2 * AFTER_MS) return dip;
    this.settled.set(key, dip);
    if (this.settled.size > MOST_KEPT) this.settled.delete(this.settled.keys().next().value!);
    return dip;
  }

  /** Live readings of the quantity's fullest channel near a time; null where it was not recorded. */
  private around(recording: Recording, quantity: 'voltage' | 'current', atMs: number): DipChannel | null {
    const channel = recording.channels
      .filter((c) => c.quantity === quantity)
      .sort((a, b) => b.samples - a.samples)[0];
    if (channel === undefined) return null;
    const [from, to] = [atMs - BEFORE_MS, atMs + AFTER_MS];
    const { t, y } = liveSeries(this.store.readSamples(channel.id, from, to));
    const first = t.findIndex((x) => x >= from / 1000);
    const end = t.findIndex((x) => x > to / 1000);
    const span = [first < 0 ? t.length : first, end < 0 ? t.length : end] as const;
    const near = y.subarray(...span);
    return {
      t: t.subarray(...span),
      y: near,
      resolution: near.length === 0 ? null : estimateResolution(near),
      apertureS: channel.apertureMs === null ? null : channel.apertureMs / 1000,
    };
  }
}

/** A try counts where it is known how it went and from what voltage it started. */
function tryOf({ outcome, dip }: CaseAttempt): Try[] {
  const rest = dip?.restV ?? null;
  return outcome === null || rest === null ? [] : [{ voltageV: rest.value, worked: OUTCOME_WORKED[outcome] }];
}

function utcAt(startedAt: string, atMs: number): string {
  return new Date(Date.parse(startedAt) + atMs).toISOString();
}

function byTime(a: CaseAttempt, b: CaseAttempt): number {
  if (a.recordingId === b.recordingId) return a.atS - b.atS;
  return (a.at ?? '').localeCompare(b.at ?? '') || a.recordingId.localeCompare(b.recordingId);
}
