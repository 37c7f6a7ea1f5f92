import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { findStoredNight } from '../../server/capture/nightInput.ts';
import { RunningNights } from '../../server/capture/runningNights.ts';
import { sliceColumns, type SampleColumns } from '../../server/samples/columns.ts';
import { openStore } from '../../server/store/openStore.ts';
import type { Store } from '../../server/store/store.ts';
import { NIGHT, stepOf } from '../contract/store.ts';
import { keptColumns } from '../helpers/keptNight.ts';
import { makeNight } from '../helpers/nights.ts';

const MINUTE = 60;
/** A night and a day and a half of one reading in two seconds, in the order in which it comes. */
const READINGS = keptColumns(
  makeNight({
    seed: 4,
    durationS: 1.6 * 86_400,
    baselineA: 0.025,
    shutDowns: [{ atS: 900, dropA: 0.4 }],
    wakeUps: [{ startS: 20_000, durationS: 60, amplitudeA: 0.7 }],
    trains: [{ widthS: 0.3, amplitudeA: 0.6, stretches: [{ startS: 100, endS: 1.6 * 86_400, periodS: 13 }] }],
    current: { intervalS: 2, resolution: 1e-4, noise: 3e-4 },
  }).input.channels[0]!,
);

let store: Store;
/** Samples that the store handed out. */
let handedOut: number;
let nights: RunningNights;
let id: string;
let channelId: number;
let taken: number;

beforeEach(() => {
  store = openStore(':memory:');
  handedOut = 0;
  nights = new RunningNights(counting(store));
  const recording = store.createRecording({ ...NIGHT, channels: NIGHT.channels.slice(0, 1) });
  id = recording.id;
  channelId = recording.channels[0]!.id;
  taken = 0;
});
afterEach(() => store.close());

function counting(of: Store): Store {
  return {
    ...of,
    readSamples: (channel, fromMs, toMs) => counted(of.readSamples(channel, fromMs, toMs)),
    *partsOf(channel) {
      for (const part of of.partsOf(channel)) yield counted(part);
    },
  };
}

function counted(columns: SampleColumns): SampleColumns {
  handedOut += columns.length;
  return columns;
}

/** The next readings come, up to a time, a few seconds' worth at a time. */
function record(untilS: number): void {
  while (taken < READINGS.length && READINGS.t[taken]! < 1000 * untilS) {
    const to = Math.min(READINGS.length, taken + 30);
    store.commit(stepOf(id, channelId, sliceColumns(READINGS, taken, to)));
    taken = to;
  }
}

describe('a recording that is still running', () => {
  it('gives each minute what the whole of it gives', () => {
    for (const atS of [30, 600, 1800, 1860, 1920, 30_000, 86_400, 120_000, 138_000]) {
      record(atS);
      expect(nights.findingsOf(id, {})).toEqual(findStoredNight(store, id));
    }
  });

  it('is read on from where it was, not from its start', () => {
    record(100_000);
    nights.findingsOf(id, {});
    expect(handedOut).toBe(taken);
    for (let minute = 1; minute <= 20; minute++) {
      record(100_000 + minute * MINUTE);
      handedOut = 0;
      nights.findingsOf(id, {});
      // The newest readings and the block in which they lie.
      expect(handedOut).toBeLessThan(0.2 * taken);
    }
  });

  it('is read anew where readings come late, or a fact of its meter changes', () => {
    record(4000);
    nights.findingsOf(id, {});
    const late = sliceColumns(READINGS, taken, taken + 60);
    store.commit(stepOf(id, channelId, sliceColumns(READINGS, taken + 60, taken + 90)));
    nights.findingsOf(id, {});
    store.commit(stepOf(id, channelId, late));
    expect(nights.findingsOf(id, {})).toEqual(findStoredNight(store, id));
    handedOut = 0;
    nights.findingsOf(id, { apertureMs: 500 });
    expect(handedOut).toBeGreaterThanOrEqual(taken);
  });

  it('is forgotten when it has ended', () => {
    record(4000);
    nights.findingsOf(id, {});
    nights.forget(id);
    handedOut = 0;
    nights.findingsOf(id, {});
    expect(handedOut).toBe(taken);
  });
});
