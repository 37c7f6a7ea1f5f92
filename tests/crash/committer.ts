import { writeSync } from 'node:fs';
import { columnsOf } from '../../server/samples/columns.ts';
import { openStore } from '../../server/store/openStore.ts';

/**
 * Commits without end to the one recording of the database that its argument names, and says each number on
 * standard output once its commit has returned. The test that started it kills it at some moment.
 */
export const METER = 'page:crash';
export const SAMPLES_A_COMMIT = 700;

/** What commit `number` holds in each channel. */
export function columnsOfCommit(number: number) {
  const t = Float64Array.from({ length: SAMPLES_A_COMMIT }, (_, i) => (number * SAMPLES_A_COMMIT + i) * 5);
  const counts = t.map((x) => (x * 7919) % 1009);
  return columnsOf(t, counts, new Int8Array(SAMPLES_A_COMMIT).fill(-3), new Uint16Array(SAMPLES_A_COMMIT));
}

const file = process.argv[2];
if (file !== undefined && process.argv[1]?.endsWith('program.mjs')) {
  const store = openStore(file);
  const [recording] = store.listRecordings();
  const { id, channels } = recording!;
  for (let number = store.lastBatch(id, METER) + 1; ; number++) {
    const columns = columnsOfCommit(number);
    store.commit({
      recordingId: id,
      samples: channels.map((c) => ({ channelId: c.id, columns })),
      gaps: [],
      events: [{ atMs: number, kind: 'note', text: `commit ${number}`, value: null }],
      batch: { meterKey: METER, number },
    });
    writeSync(1, `${number}\n`);
  }
}
