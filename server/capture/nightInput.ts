import { UNIT } from '../../drivers/core/reading.ts';
import type { ChannelInput, NightInput } from '../analysis/input.ts';
import type { AnalysisOptions } from '../messages/findings.ts';
import type { Case, Channel, Gap, RecordingEvent } from '../messages/records.ts';
import { liveSeries, type SampleColumns } from '../samples/columns.ts';
import type { Store } from '../store/store.ts';
import type { ParsedCsv } from './csv.ts';

/** A stored recording as the analysis takes it: live samples only. @throws NightdrawError not-found */
export function nightInputOf(store: Store, recordingId: string): NightInput {
  const recording = store.getRecording(recordingId);
  const gaps = store.listGaps(recordingId);
  return {
    startedAt: recording.startedAt,
    durationS: recording.durationMs / 1000,
    channels: recording.channels.map((channel) =>
      channelInput(
        channel,
        store.readSamples(channel.id),
        gaps.filter((gap) => gap.channelId === channel.id),
      ),
    ),
    clockSteps: clockSteps(store.listEvents(recordingId)),
  };
}

/** The same for a file that is not stored; equal to what importing it and asking for the recording gives. */
export function nightInputOfCsv(parsed: ParsedCsv): NightInput {
  return {
    startedAt: parsed.startedAt,
    durationS: parsed.durationMs / 1000,
    channels: parsed.channels.map(({ input, columns }, i) =>
      channelInput(
        input,
        columns,
        parsed.gaps.filter((gap) => gap.channel === i),
      ),
    ),
    clockSteps: clockSteps(parsed.events),
  };
}

/** What the case says about battery and limits, under what was asked for. */
export function analysisOptionsOf(theCase: Case | null, asked: AnalysisOptions): AnalysisOptions {
  const { battery, thresholdV, drawLimitA } = theCase ?? {
    battery: null,
    thresholdV: null,
    drawLimitA: null,
  };
  return {
    ...(battery !== null && { chemistry: battery.chemistry }),
    ...(battery !== null && battery.capacityAh !== null && { capacityAh: battery.capacityAh }),
    ...(thresholdV !== null && { thresholdV }),
    ...(drawLimitA !== null && { drawLimitA }),
    ...asked,
  };
}

function channelInput(
  channel: Pick<Channel, 'quantity' | 'apertureMs'>,
  columns: SampleColumns,
  gaps: readonly Pick<Gap, 'startMs' | 'endMs'>[],
): ChannelInput {
  return {
    quantity: channel.quantity,
    unit: UNIT[channel.quantity],
    ...liveSeries(columns),
    // Estimated from the readings, so that a display's zeros written by some software do not pass for digits.
    resolution: null,
    apertureS: channel.apertureMs === null ? null : channel.apertureMs / 1000,
    accuracy: null,
    gaps: gaps.map((gap) => ({ startS: gap.startMs / 1000, endS: gap.endMs / 1000 })),
  };
}

function clockSteps(events: readonly RecordingEvent[]): NightInput['clockSteps'] {
  return events
    .filter((event) => event.kind === 'clock-step' && event.value !== null)
    .map((event) => ({ atS: event.atMs / 1000, stepS: event.value! / 1000 }));
}
