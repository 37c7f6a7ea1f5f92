import { writeSync } from 'node:fs';
import path from 'node:path';
import { signerIn } from '../../server/sealing/keyFile.ts';
import { sealingStore } from '../../server/sealing/sealingStore.ts';
import { openStore } from '../../server/store/openStore.ts';
import { recordMinutes } from '../helpers/nightBeingSealed.ts';

/**
 * Records without end into the one recording of the data folder that its argument names, a minute of readings at a
 * time, sealed every minute of a clock that runs ahead; says each minute. The test that started it kills it.
 */
const data = process.argv[2];
if (data !== undefined && process.argv[1]?.endsWith('program.mjs')) {
  const plain = openStore(path.join(data, 'nightdraw.db'));
  const [recording] = plain.listRecordings();
  const { id, startedAt, channels } = recording!;
  const startMs = Date.parse(startedAt!);
  const { t } = plain.readSamples(channels[0]!.id);
  const clock = { startMs, utcMs: startMs + Math.ceil(((t.at(-1) ?? -10_000) + 1) / 10_000) * 10_000 };
  const store = sealingStore(plain, {
    data,
    signer: signerIn(data),
    utcMs: () => clock.utcMs,
    sealEveryMs: 60_000,
    onTrouble: (sentence) => void writeSync(2, `${sentence}\n`),
  });
  for (let minute = 1; ; minute++) {
    recordMinutes(store, id, clock, 1);
    writeSync(1, `${minute}\n`);
  }
}
