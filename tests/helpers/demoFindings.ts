import { readFileSync } from 'node:fs';
import path from 'node:path';
import { findNight } from '../../server/battery/findings.ts';
import { nightInputOf, withFile } from '../../server/capture/nightInput.ts';
import { demoCaseSchema } from '../../server/messages/demo.ts';
import type { Findings } from '../../server/messages/findings.ts';

export const RECORDINGS = path.resolve(import.meta.dirname, '../../recordings');

export function textOfDemo(folder: string, name: string): string {
  return readFileSync(path.join(RECORDINGS, folder, name), 'utf8');
}

/** What the analysis finds in a demo night, with what its case says of the battery. */
export function analyseDemo(folder: string): Findings {
  const { startedAt, battery } = demoCaseSchema.parse(JSON.parse(textOfDemo(folder, 'case.json')));
  const name = `${folder}/night.csv.gz`;
  return withFile(path.join(RECORDINGS, name), name, (store, id) =>
    findNight(
      { ...nightInputOf(store, id), startedAt },
      { chemistry: battery!.chemistry!, capacityAh: battery!.capacityAh! },
    ),
  );
}
