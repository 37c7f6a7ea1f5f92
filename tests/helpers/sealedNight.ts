import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import path from 'node:path';
import { importCsvFile } from '../../server/capture/import.ts';
import { caseInputSchema } from '../../server/messages/records.ts';
import { concat } from '../../server/evidence/octets.ts';
import { signerIn } from '../../server/sealing/keyFile.ts';
import { sealNight, type SealOptions } from '../../server/sealing/sealNight.ts';
import type { Store } from '../../server/store/store.ts';
import { openStore } from '../../server/store/openStore.ts';

export const VERSION = '9.9.9';
export const SEALED_AT = '2026-03-01T06:00:00.000Z';

/** A recording of three hours with all that a CSV can say, in a data folder of its own. */
export interface SealingBench {
  readonly data: string;
  readonly store: Store;
  readonly recordingId: string;
  seal(options?: Partial<SealOptions>): Uint8Array;
  close(): void;
}

/** A sealed bundle in one piece. */
export function sealedOctets(store: Store, id: string, options: SealOptions): Uint8Array {
  const pieces: Uint8Array[] = [];
  sealNight(store, id, options, (octets) => void pieces.push(octets.slice()));
  return concat(...pieces);
}

export function sealingBench(stepS = 30): SealingBench {
  const data = mkdtempSync(path.join(tmpdir(), 'nightdraw-seal-'));
  const store = openStore(path.join(data, 'nightdraw.db'));
  const lines = ['timestamp,current_A,voltage_V,current_A flags'];
  for (let s = 0; s < 3 * 3600; s += stepS) {
    const time = new Date(Date.UTC(2026, 1, 28, 22, 0, s)).toISOString();
    const milliamps = s < 1200 ? 850 : 25 + (s % 7);
    const isHeld = s === 90 * stepS;
    const amps = (milliamps / 1000).toFixed(3);
    lines.push(
      `${time},${isHeld ? '' : amps},${s % 60 === 0 ? '12.63' : ''},${isHeld ? `hold ${amps}` : ''}`,
    );
  }
  const file = path.join(data, 'PLATE-AB12.csv');
  writeFileSync(file, `${lines.join('\n')}\n`);
  const { id: caseId } = store.createCase(
    caseInputSchema.parse({
      title: 'Customer Example',
      plateOrVin: 'AB12 CDE',
      complaint: 'Handle dead in the morning',
      notes: '',
      battery: { role: 'main', chemistry: 'agm', capacityAh: 70 },
      thresholdV: 12.1,
      drawLimitA: null,
    }),
  );
  const { id } = importCsvFile(store, file, { caseId });
  store.commit({
    recordingId: id,
    samples: [],
    gaps: [
      { channelId: store.getRecording(id).channels[0]!.id, startMs: 5000, endMs: 9000, reason: 'silent' },
    ],
    events: [{ atMs: 4000, kind: 'note', text: 'Neighbour of Mr Example came by', value: null }],
    batch: null,
  });
  return {
    data,
    store,
    recordingId: id,
    seal: (options = {}) =>
      sealedOctets(store, id, {
        data,
        signer: signerIn(data),
        version: VERSION,
        sealedAt: SEALED_AT,
        without: [],
        ...options,
      }),
    close() {
      store.close();
      rmSync(data, { recursive: true });
    },
  };
}
