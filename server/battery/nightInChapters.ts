import { channelInput, clockSteps, type KeptNight } from '../analysis/night.ts';
import type { ChannelInput, NightInput } from '../analysis/input.ts';
import { SeriesSoFar } from '../analysis/seriesSoFar.ts';
import type { Findings } from '../messages/findings.ts';
import type { SampleColumns } from '../samples/columns.ts';
import { chapterOf, type Chapter } from './chapter.ts';
import { quietMoment } from './quietMoment.ts';
import { aboutOf, findingsOf, type FindNightOptions } from './findings.ts';
import { joinChapters } from './joinChapters.ts';

/** What a recording is, without its samples. */
export type NightHead = Pick<KeptNight, 'startedAt' | 'facts'> & {
  readonly channels: readonly { readonly channel: KeptNight['channels'][number]['channel'] }[];
};

/** What of a recording grows beside its samples. */
export interface NightKnown {
  readonly durationMs: number;
  /** Of each channel. */
  readonly gaps: readonly KeptNight['channels'][number]['gaps'][];
  readonly events: KeptNight['events'];
}

/** Long enough for the car to fall asleep and for any train to show, and a whole day of temperature. */
const SHORTEST_S = 4 * 3600;
const LONGEST_S = 24 * 3600;
/** Readings of one channel that a chapter holds, about. */
const READINGS = 3_000_000;
/** Chapters end at a quiet moment of this time from their border on. */
const BORDER_S = 600;
/** What comes after a border is a chapter of its own once it is this part of one. */
const LEAST_PART = 1 / 4;
/** The longest chapter, what comes after its border, and some more: for so long readings are kept. */
export const MOST_KEPT_S = 1.05 * (1 + LEAST_PART) * LONGEST_S + BORDER_S;

/**
 * A recording of any length in memory that does not grow with it: a night is one chapter; what goes on longer is
 * read day by day, and of a finished chapter only what it tells is kept. Samples may come while it is recorded.
 */
export class NightInChapters {
  private readonly series: readonly SeriesSoFar[];
  private lengthS: number | null = null;
  private done: Chapter | null = null;

  /** `expected`: readings of each channel that will be kept at one time, about, where that is known. */
  constructor(
    private readonly head: NightHead,
    private readonly options: FindNightOptions,
    expected: readonly number[] = [],
  ) {
    this.series = head.channels.map((_, k) => new SeriesSoFar(expected[k]));
  }

  /** The next samples of a channel, in the order in which they came. @returns their latest time, milliseconds */
  add(channel: number, columns: SampleColumns): number {
    return this.series[channel]!.add(columns);
  }

  /** Finishes the chapters that can be, where all samples before `untilS` have been added. */
  advance(untilS: number, known: NightKnown): void {
    if (this.lengthS === null) {
      if (untilS < SHORTEST_S) return;
      this.lengthS = chapterLength(this.series);
    }
    for (;;) {
      const borderS = this.fromS + this.lengthS;
      if (untilS < borderS + Math.max(BORDER_S, LEAST_PART * this.lengthS)) return;
      const cutS = quietMoment(this.leading().between(borderS, borderS + BORDER_S)) ?? borderS;
      this.done = this.withNext(
        this.series.map((s) => s.between(-Infinity, cutS)),
        cutS,
        known,
      );
      for (const s of this.series) s.dropBefore(cutS);
    }
  }

  /** Everything so far. Asking for it changes nothing. */
  findings(known: NightKnown): Findings {
    this.advance(known.durationMs / 1000, known);
    const all = this.withNext(
      this.series.map((s) => s.peek()),
      known.durationMs / 1000,
      known,
    );
    const about = { ...this.head, clockSteps: clockSteps(known.events), channels: this.inputs([], known) };
    return findingsOf(all, aboutOf(about, this.options), this.options);
  }

  /** How many are in memory, of all channels. */
  get readingsKept(): number {
    return this.series.reduce((sum, s) => sum + s.peek().t.length, 0);
  }

  private get fromS(): number {
    return this.done?.toS ?? 0;
  }

  /** The readings that tell where it is quiet: a current's, before all others. */
  private leading(): SeriesSoFar {
    const k = this.head.channels.findIndex(({ channel }) => channel.quantity === 'current');
    return this.series[Math.max(0, k)]!;
  }

  private withNext(
    series: readonly Pick<ChannelInput, 't' | 'y'>[],
    toS: number,
    known: NightKnown,
  ): Chapter {
    const input: NightInput = {
      startedAt: null,
      durationS: toS,
      channels: this.inputs(series, known),
      clockSteps: [],
    };
    const { done } = this;
    const before = done === null ? null : { fromS: done.toS, reversed: done.sign.reversed };
    const next = chapterOf(input, this.options, before);
    return done === null ? next : joinChapters(done, next);
  }

  private inputs(series: readonly Pick<ChannelInput, 't' | 'y'>[], { gaps }: NightKnown): ChannelInput[] {
    return this.head.channels.map(({ channel }, k) =>
      channelInput(channel, series[k] ?? NO_READINGS, gaps[k] ?? [], this.head.facts),
    );
  }
}

const NO_READINGS = { t: new Float64Array(0), y: new Float64Array(0) };

/** Seconds, from how many readings the first hours hold. */
function chapterLength(series: readonly SeriesSoFar[]): number {
  const most = Math.max(1, ...series.map((s) => s.countBefore(SHORTEST_S)));
  return Math.min(LONGEST_S, Math.max(SHORTEST_S, (SHORTEST_S * READINGS) / most));
}
