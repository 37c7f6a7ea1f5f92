import { existsSync, readdirSync, readFileSync } from 'node:fs';
import path from 'node:path';
import { demoCaseSchema } from '../messages/demo.ts';
import type { Store } from '../store/store.ts';
import { importCsvFile } from './import.ts';

/**
 * Brings the demo nights of `folder` (each a folder of its own with night.csv.gz, case.json and PROVENANCE.md)
 * into the store as demo cases: each once, so that one which was deleted stays deleted.
 * Returns the recordings' ids. @throws NightdrawError unreadable-file, store-full, store-failed
 */
export function importDemoNights(store: Store, folder: string): string[] {
  if (!existsSync(folder)) return [];
  return readdirSync(folder, { withFileTypes: true })
    .filter((entry) => entry.isDirectory() && existsSync(path.join(folder, entry.name, 'night.csv.gz')))
    .map((entry) => entry.name)
    .sort()
    .flatMap((name) => store.atomically(() => importOnce(store, folder, name)));
}

function importOnce(store: Store, folder: string, name: string): string[] {
  const mark = `demo-night:${name}`;
  if (store.readSetting(mark) !== null) return [];
  const night = path.join(folder, name, 'night.csv.gz');
  const { startedAt, ...input } = demoCaseSchema.parse(
    JSON.parse(readFileSync(path.join(folder, name, 'case.json'), 'utf8')),
  );
  const { id: caseId } = store.createCase(input, { demo: true });
  const recording = importCsvFile(store, night, {
    name: `${name}/night.csv.gz`,
    caseId,
    title: 'Demo night',
    startedAt,
    provenance: `Demo night "${name}", made by the virtual car; no car was measured. See PROVENANCE.md in recordings/${name}.`,
  });
  store.writeSetting(mark, recording.id);
  return [recording.id];
}
