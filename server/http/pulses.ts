import { followBeat, periodOverTime, type Piece } from '../analysis/beat.ts';
import { foldPulses } from '../analysis/pulse-fold.ts';
import { NightdrawError } from '../messages/errors.ts';
import type { Pulses, PulsesQuery } from '../messages/pulses.ts';
import type { Channel, Recording } from '../messages/records.ts';
import { liveSeries } from '../samples/columns.ts';
import type { Store } from '../store/store.ts';

/** More readings than these show nothing more; of a longer regime evenly spaced pieces are read. */
const MOST_READINGS = 400_000;
const PIECES = 40;

/** @throws NightdrawError not-found where the recording has no such channel */
export function pulsesOf(
  store: Pick<Store, 'readSamples'>,
  recording: Recording,
  query: PulsesQuery,
): Pulses {
  const channel = recording.channels.find((c) => c.quantity === query.quantity);
  if (channel === undefined) throw new NightdrawError('not-found', 'This recording has no such channel.');
  const spans = spansOf(recording, channel, query);
  const pieces = spans
    .map(({ fromS, toS }) => pieceOf(store, channel.id, fromS, toS))
    .filter((p) => p.t.length > 1);
  const blocks = followBeat(pieces, query.periodS);
  const fold = foldPulses(pieces, blocks, query.periodS);
  const points = periodOverTime(blocks, query.periodS);
  const seen = spans.reduce((s, { fromS, toS }) => s + toS - fromS, 0);
  return {
    share: Math.min(1, seen / (query.endS - query.startS)),
    fold:
      fold === null
        ? null
        : {
            ...fold,
            t: rounded(fold.t),
            median: holed(fold.median),
            lower: holed(fold.lower),
            upper: holed(fold.upper),
            points: { t: rounded(fold.points.t), y: rounded(fold.points.y) },
          },
    period: {
      atS: points.map((p) => p.atS),
      periodS: points.map((p) => p.periodS),
      uncertaintyS: points.map((p) => p.uncertaintyS),
    },
  };
}

function spansOf(recording: Recording, channel: Channel, { startS, endS }: PulsesQuery) {
  const perSecond = channel.samples / Math.max(1, recording.durationMs / 1000);
  const expected = perSecond * (endS - startS);
  if (expected <= MOST_READINGS) return [{ fromS: startS, toS: endS }];
  const lengthS = MOST_READINGS / PIECES / perSecond;
  const step = (endS - startS - lengthS) / (PIECES - 1);
  return Array.from({ length: PIECES }, (_, k) => ({
    fromS: startS + k * step,
    toS: startS + k * step + lengthS,
  }));
}

function pieceOf(store: Pick<Store, 'readSamples'>, channelId: number, fromS: number, toS: number): Piece {
  const { t, y } = liveSeries(store.readSamples(channelId, fromS * 1000, toS * 1000));
  // The blocks that touch the span reach over its ends; readings that came back to front are not folded.
  const keep: number[] = [];
  let last = -Infinity;
  for (let i = 0; i < t.length; i++) {
    if (t[i]! < fromS || t[i]! > toS || t[i]! < last) continue;
    last = t[i]!;
    keep.push(i);
  }
  return { t: Float64Array.from(keep, (i) => t[i]!), y: Float64Array.from(keep, (i) => y[i]!) };
}

/** Seven digits are more than a screen or a meter shows. */
function rounded(x: Float64Array): number[] {
  return Array.from(x, (v) => Number(v.toPrecision(7)));
}

function holed(x: Float64Array): (number | null)[] {
  return Array.from(x, (v) => (Number.isNaN(v) ? null : Number(v.toPrecision(7))));
}
