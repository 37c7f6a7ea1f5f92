import type { FindNightOptions } from '../battery/findings.ts';
import { feed, knownOf } from '../battery/keptNight.ts';
import { NightInChapters } from '../battery/nightInChapters.ts';
import type { Findings } from '../messages/findings.ts';
import { sliceColumns } from '../samples/columns.ts';
import type { Store } from '../store/store.ts';
import { keptNightOf } from './nightInput.ts';

type KeptRecording = ReturnType<typeof keptNightOf>;

interface Running {
  /** What the analysis rests on beside the samples; where it changes, everything is read anew. */
  readonly basis: string;
  readonly night: NightInChapters;
  /** Of each channel: samples read, and the latest time among them. */
  readonly read: { samples: number; lastMs: number }[];
}

/** So many recordings at once, each with its question. */
const MOST_KEPT = 4;

/**
 * Recordings that go on: asked again, each reads what has come since and not its past. Finished chapters are not
 * looked at again either (see NightInChapters).
 */
export class RunningNights {
  private readonly running = new Map<string, Running>();

  constructor(private readonly store: Store) {}

  /** @throws NightdrawError not-found */
  findingsOf(recordingId: string, options: FindNightOptions): Findings {
    const kept = keptNightOf(this.store, recordingId);
    const question = JSON.stringify([recordingId, options]);
    const basis = JSON.stringify([kept.startedAt, kept.facts, kept.channels.map((c) => c.channel.id)]);
    let running = this.running.get(question);
    if (running?.basis !== basis || !this.readOn(running, kept)) running = readAll(kept, basis, options);
    this.running.delete(question);
    this.running.set(question, running);
    if (this.running.size > MOST_KEPT) this.running.delete(this.running.keys().next().value!);
    return running.night.findings(knownOf(kept));
  }

  /** What belongs to a recording that has ended. */
  forget(recordingId: string): void {
    for (const question of this.running.keys())
      if ((JSON.parse(question) as [string])[0] === recordingId) this.running.delete(question);
  }

  /** False where samples came late, with times among those that were read: their blocks may not be among the newest. */
  private readOn({ night, read }: Running, kept: KeptRecording): boolean {
    const fresh = kept.channels.map(({ channel }, k) => {
      const { samples, lastMs } = read[k]!;
      const count = channel.samples - samples;
      if (count === 0) return null;
      const newest = this.store.readSamples(channel.id, lastMs);
      return sliceColumns(newest, Math.max(0, newest.length - count), newest.length);
    });
    const isInOrder = fresh.every(
      (columns, k) =>
        columns === null ||
        (columns.length === kept.channels[k]!.channel.samples - read[k]!.samples &&
          columns.t.every((t) => t > read[k]!.lastMs)),
    );
    if (!isInOrder) return false;
    fresh.forEach((columns, k) => {
      if (columns === null) return;
      read[k]!.samples += columns.length;
      read[k]!.lastMs = Math.max(read[k]!.lastMs, night.add(k, columns));
    });
    return true;
  }
}

function readAll(kept: KeptRecording, basis: string, options: FindNightOptions): Running {
  const night = new NightInChapters(kept, options);
  const lastMs = feed(night, kept);
  return {
    basis,
    night,
    read: kept.channels.map(({ channel }, k) => ({ samples: channel.samples, lastMs: lastMs[k]! })),
  };
}
