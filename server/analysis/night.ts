import { UNIT } from '../../drivers/core/reading.ts';
import type { Channel, Gap, RecordingEvent } from '../messages/records.ts';
import { liveSeries, liveSeriesOf, type SampleColumns, type Series } from '../samples/columns.ts';
import type { ChannelInput, NightInput } from './input.ts';
import { factsOfChannel, type MeterFacts } from './meterFacts.ts';

/** A recording as it is kept, wherever: in the store, in a CSV file or in a sealed bundle. */
export interface KeptNight {
  readonly startedAt: string | null;
  readonly durationMs: number;
  readonly channels: readonly {
    readonly channel: KeptChannel;
    readonly columns: SampleColumns | InPieces;
    readonly gaps: readonly Pick<Gap, 'startMs' | 'endMs'>[];
  }[];
  readonly events: readonly RecordingEvent[];
  /** Absent where nothing is known of the meters. */
  readonly facts?: MeterFacts;
}

/** A channel's samples piece by piece, so that they need not all be in memory as they are stored. */
export interface InPieces {
  /** No fewer than there are. */
  readonly samples: number;
  readonly parts: Iterable<SampleColumns>;
}

type KeptChannel = Pick<Channel, 'quantity' | 'apertureMs'> &
  Partial<Pick<Channel, 'meterKey' | 'key' | 'step'>>;

const NO_FACTS: MeterFacts = { meters: [], zeroChecks: [] };

/** The recording as the analysis takes it: live samples only, so that the same readings give the same findings. */
export function nightInputFrom(night: KeptNight): NightInput {
  return {
    startedAt: night.startedAt,
    durationS: night.durationMs / 1000,
    channels: night.channels.map(({ channel, columns, gaps }) =>
      channelInput(channel, seriesOf(columns), gaps, night.facts),
    ),
    clockSteps: clockSteps(night.events),
  };
}

function seriesOf(columns: SampleColumns | InPieces): Series {
  return 'parts' in columns ? liveSeriesOf(columns.parts, columns.samples) : liveSeries(columns);
}

/** One channel's live readings with what is known of its meter. */
export function channelInput(
  channel: KeptChannel,
  series: Series,
  gaps: readonly Pick<Gap, 'startMs' | 'endMs'>[],
  facts: MeterFacts = NO_FACTS,
): ChannelInput {
  return {
    quantity: channel.quantity,
    unit: UNIT[channel.quantity],
    ...series,
    // Without a step of the meter's own format the resolution is estimated from the readings, so that a display's
    // zeros written by some software do not pass for digits.
    ...factsOfChannel(channel, facts),
    accuracy: null,
    gaps: gaps.map((gap) => ({ startS: gap.startMs / 1000, endS: gap.endMs / 1000 })),
  };
}

export function clockSteps(events: readonly RecordingEvent[]): NightInput['clockSteps'] {
  return events
    .filter((event) => event.kind === 'clock-step' && event.value !== null)
    .map((event) => ({ atS: event.atMs / 1000, stepS: event.value! / 1000 }));
}
