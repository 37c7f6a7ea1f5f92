import type { NightInput } from '../analysis/input.ts';
import { nightInputFrom, type KeptNight } from '../analysis/night.ts';
import type { FindNightOptions } from '../battery/findings.ts';
import { findKeptNight } from '../battery/keptNight.ts';
import type { AnalysisOptions, Findings } from '../messages/findings.ts';
import type { Case } from '../messages/records.ts';
import { openStore } from '../store/openStore.ts';
import type { Store } from '../store/store.ts';
import { importCsvFile } from './import.ts';

/** A stored recording with all that the analysis takes from it; its samples are read when they are asked for. @throws NightdrawError not-found */
export function keptNightOf(store: Store, recordingId: string) {
  const { startedAt, durationMs, channels } = store.getRecording(recordingId);
  const gaps = store.listGaps(recordingId);
  return {
    startedAt,
    durationMs,
    channels: channels.map((channel) => ({
      channel,
      columns: { samples: channel.samples, parts: store.partsOf(channel.id) },
      gaps: gaps.filter((gap) => gap.channelId === channel.id),
    })),
    events: store.listEvents(recordingId),
    facts: {
      meters: store.listRecordedMeters(recordingId),
      zeroChecks: store.listZeroChecks(recordingId),
    },
  } satisfies KeptNight;
}

/** A stored recording with all its live samples in memory. @throws NightdrawError not-found */
export function nightInputOf(store: Store, recordingId: string): NightInput {
  return nightInputFrom(keptNightOf(store, recordingId));
}

/** The findings of a stored recording, however long. @throws NightdrawError not-found */
export function findStoredNight(store: Store, recordingId: string, options: FindNightOptions = {}): Findings {
  return findKeptNight(keptNightOf(store, recordingId), options);
}

/**
 * Runs `work` on a CSV file (its path or its bytes) that is not to be stored, as if it were a recording: it lives in
 * memory meanwhile, packed. @throws CsvError with file, line and reason; NightdrawError not-found, unreadable-file
 */
export function withFile<T>(
  source: string | Uint8Array,
  name: string,
  work: (store: Store, recordingId: string) => T,
): T {
  const store = openStore(':memory:');
  try {
    return work(store, importCsvFile(store, source, { name, caseId: null }).id);
  } finally {
    store.close();
  }
}

/** What the case says about battery and limits, under what was asked for. A threshold measured on this car stands first. */
export function analysisOptionsOf(theCase: Case | null, asked: AnalysisOptions): FindNightOptions {
  const { battery, thresholdV, drawLimitA, measuredThreshold } = theCase ?? NO_CASE;
  const measured = measuredThreshold ?? null;
  return {
    ...(battery !== null && battery.chemistry !== null && { chemistry: battery.chemistry }),
    ...(battery !== null && battery.capacityAh !== null && { capacityAh: battery.capacityAh }),
    ...(measured === null && thresholdV !== null && { thresholdV }),
    ...(measured !== null && { thresholdV: measured.thresholdV }),
    ...(measured !== null &&
      asked.thresholdV === undefined && {
        thresholdFrom: 'measured-on-this-car' as const,
        thresholdUncertaintyV: measured.expandedUncertaintyV,
      }),
    ...(drawLimitA !== null && { drawLimitA }),
    ...asked,
  };
}

const NO_CASE: Pick<Case, 'battery' | 'thresholdV' | 'drawLimitA' | 'measuredThreshold'> = {
  battery: null,
  thresholdV: null,
  drawLimitA: null,
};
