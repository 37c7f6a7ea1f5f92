import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import path from 'node:path';
import { afterEach, expect, test } from 'vitest';
import { openStore } from '../../server/store/openStore.ts';
import { columnsOf } from '../../server/samples/columns.ts';

const folder = mkdtempSync(path.join(tmpdir(), 'nightdraw-store-'));
afterEach(() => rmSync(folder, { recursive: true, force: true }));

test('what was written is there after closing and opening again', () => {
  const file = path.join(folder, 'sub', 'nightdraw.db');
  const store = openStore(file);
  const { id, channels } = store.createRecording({
    caseId: null,
    kind: 'overnight-test',
    title: 'Night',
    startedAt: null,
    zone: null,
    provenance: '',
    state: 'recording',
    channels: [
      {
        meterKey: 'virtual:clamp',
        meterName: 'Clamp',
        driver: 'sig',
        key: 'a',
        quantity: 'current',
        label: 'Current',
        apertureMs: null,
      },
    ],
  });
  const channelId = channels[0]!.id;
  const columns = columnsOf([0, 100.5], [25, 26], [-3, -3], [0, 0]);
  store.commit({ recordingId: id, samples: [{ channelId, columns }], gaps: [], events: [], batch: null });
  store.close();
  const again = openStore(file);
  expect(again.readSamples(channelId)).toEqual(columns);
  expect(again.getRecording(id)).toMatchObject({ state: 'recording', durationMs: 100.5 });
  again.close();
});
