import { readFileSync, writeFileSync } from 'node:fs';
import { expect, test } from 'vitest';
import { ANALYSIS_REVISION } from '../../server/battery/revision.ts';
import { sameFindings } from '../../server/evidence/contents.ts';
import type { Findings } from '../../server/messages/findings.ts';
import { analyseDemo } from '../helpers/demoFindings.ts';
import { DEMO_NIGHTS } from '../helpers/demoNights.ts';

/**
 * What the analysis of this revision finds in the demo nights. Where it finds something else, on purpose, a bundle that
 * was sealed before must be told so: raise ANALYSIS_REVISION by one, then write the file anew with WRITE_REVISION=1.
 */
const FILE = new URL('../vectors/demoFindings.json', import.meta.url);

interface Kept {
  readonly revision: number;
  readonly findings: Readonly<Record<string, Findings>>;
}

const now = Object.fromEntries(DEMO_NIGHTS.map(({ folder }) => [folder, analyseDemo(folder)]));
if (process.env['WRITE_REVISION'] === '1')
  writeFileSync(FILE, `${JSON.stringify({ revision: ANALYSIS_REVISION, findings: now }, null, 2)}\n`);
const kept = JSON.parse(readFileSync(FILE, 'utf8')) as Kept;

test('the file is of this revision', () => expect(kept.revision).toBe(ANALYSIS_REVISION));

test.each(DEMO_NIGHTS.map((d) => d.folder))('%s: this revision finds what it found before', (folder) => {
  expect(
    sameFindings(now[folder], kept.findings[folder]),
    'The findings changed: raise ANALYSIS_REVISION, then run this test with WRITE_REVISION=1.',
  ).toBe(true);
});
