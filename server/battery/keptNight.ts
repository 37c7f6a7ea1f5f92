import type { InPieces, KeptNight } from '../analysis/night.ts';
import type { Findings } from '../messages/findings.ts';
import { sliceColumns, type SampleColumns } from '../samples/columns.ts';
import type { FindNightOptions } from './findings.ts';
import { NightInChapters } from './nightInChapters.ts';

/** The findings of a whole recording, however long. Channels are read side by side, because they may share blocks. */
export function findKeptNight(night: KeptNight, options: FindNightOptions = {}): Findings {
  const chapters = new NightInChapters(night, options);
  const { durationMs, events } = night;
  const known = { durationMs, events, gaps: night.channels.map((c) => c.gaps) };
  const feeds = night.channels.map(({ columns }) => piecesOf(columns)[Symbol.iterator]());
  const reachedS = feeds.map(() => 0);
  for (;;) {
    const earliest = Math.min(...reachedS);
    if (earliest === Infinity) return chapters.findings(known);
    chapters.advance(earliest, known);
    const k = reachedS.indexOf(earliest);
    const next = feeds[k]!.next();
    if (next.done === true) {
      reachedS[k] = Infinity;
      continue;
    }
    chapters.add(k, next.value);
    reachedS[k] = Math.max(earliest, (next.value.t[next.value.length - 1] ?? 0) / 1000);
  }
}

const PIECE = 65_536;

function* piecesOf(columns: SampleColumns | InPieces): Iterable<SampleColumns> {
  if ('parts' in columns) yield* columns.parts;
  else
    for (let from = 0; from < columns.length; from += PIECE)
      yield sliceColumns(columns, from, Math.min(columns.length, from + PIECE));
}
