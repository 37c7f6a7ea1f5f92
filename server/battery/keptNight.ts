import type { InPieces, KeptNight } from '../analysis/night.ts';
import type { Findings } from '../messages/findings.ts';
import { sliceColumns, type SampleColumns } from '../samples/columns.ts';
import type { FindNightOptions } from './findings.ts';
import { MOST_KEPT_S, NightInChapters, type NightKnown } from './nightInChapters.ts';

/** The findings of a whole recording, however long. */
export function findKeptNight(night: KeptNight, options: FindNightOptions = {}): Findings {
  const share = Math.min(1, (1000 * MOST_KEPT_S) / Math.max(1, night.durationMs));
  const expected = night.channels.map(({ columns: c }) => share * ('parts' in c ? c.samples : c.length));
  const chapters = new NightInChapters(night, options, expected);
  feed(chapters, night);
  return chapters.findings(knownOf(night));
}

/**
 * All samples of a recording, side by side, because channels may share blocks; chapters are finished on the way.
 * @returns the latest time of each channel, milliseconds; -Infinity where there is none
 */
export function feed(chapters: NightInChapters, night: KeptNight): number[] {
  const known = knownOf(night);
  const pieces = night.channels.map(({ columns }) => piecesOf(columns)[Symbol.iterator]());
  const lastMs = pieces.map(() => -Infinity);
  const isDone = pieces.map(() => false);
  for (;;) {
    const reached = lastMs.map((ms, k) => (isDone[k] === true ? Infinity : ms));
    const earliest = Math.min(...reached);
    if (earliest === Infinity) return lastMs;
    chapters.advance(earliest / 1000, known);
    const k = reached.indexOf(earliest);
    const next = pieces[k]!.next();
    if (next.done === true) {
      isDone[k] = true;
      continue;
    }
    lastMs[k] = Math.max(lastMs[k]!, chapters.add(k, next.value));
  }
}

export function knownOf({ durationMs, events, channels }: KeptNight): NightKnown {
  return { durationMs, events, gaps: channels.map((c) => c.gaps) };
}

const PIECE = 65_536;

function* piecesOf(columns: SampleColumns | InPieces): Iterable<SampleColumns> {
  if ('parts' in columns) yield* columns.parts;
  else
    for (let from = 0; from < columns.length; from += PIECE)
      yield sliceColumns(columns, from, Math.min(columns.length, from + PIECE));
}
