import { existsSync, readdirSync, statSync } from 'node:fs';
import path from 'node:path';
import { describe, expect, it } from 'vitest';
import { findingsSchema, type Findings } from '../../server/messages/findings.ts';
import { demoCaseSchema } from '../../server/messages/demo.ts';
import { analyseDemo, RECORDINGS, textOfDemo } from '../helpers/demoFindings.ts';
import { DEMO_NIGHTS } from '../helpers/demoNights.ts';
import type { Check, Expected } from '../helpers/demoExpectations.ts';

const LARGEST_BYTES = 400_000;

const folders = readdirSync(RECORDINGS, { withFileTypes: true })
  .filter((entry) => entry.isDirectory() && existsSync(path.join(RECORDINGS, entry.name, 'expected.json')))
  .map((entry) => entry.name);

/** What is wrong with a finding, or null. */
function complaint(findings: Findings, check: Check): string | null {
  const found = check.path
    .split('.')
    .reduce<unknown>(
      (value, key) => (value as Record<string, unknown> | null | undefined)?.[key],
      findings,
    );
  const says = (what: string) => `${check.path}: ${what}`;
  const isNear = (x: unknown, value: number, within: number) =>
    typeof x === 'number' && Math.abs(x - value) <= within;
  if ('equals' in check) return found === check.equals ? null : says(`${String(found)}, not ${check.equals}`);
  if ('some' in check) {
    const { some, value, within } = check;
    const values = (found as Record<string, unknown>[]).map((element) => element[some]);
    return values.some((v) => isNear(v, value, within))
      ? null
      : says(`none of ${values.join(', ')} is ${value} +- ${within}`);
  }
  if ('value' in check) {
    const { value, within } = check;
    return isNear(found, value, within) ? null : says(`${String(found)}, not ${value} +- ${within}`);
  }
  if ('length' in check) {
    const { length } = found as unknown[];
    return length === check.length ? null : says(`${length} of them, not ${check.length}`);
  }
  const codes = (found as Findings['flags']).map((flag) => flag.code as string);
  if ('includes' in check) {
    return codes.includes(check.includes) ? null : says(`no ${check.includes} among ${codes.join(', ')}`);
  }
  return codes.includes(check.excludes) ? says(`${check.excludes} is raised`) : null;
}

describe('demo recordings', () => {
  it('are all there', () => {
    expect(folders.toSorted()).toEqual(DEMO_NIGHTS.map((d) => d.folder).toSorted());
    expect(folders.length).toBeGreaterThanOrEqual(3);
  });

  it.each(folders)('%s: provenance, a case and a file of modest size', (folder) => {
    const provenance = textOfDemo(folder, 'PROVENANCE.md');
    expect(provenance).toContain('**Synthetic.**');
    expect(provenance).toMatch(/\| seed \| \d+ \|/);
    expect(statSync(path.join(RECORDINGS, folder, 'night.csv.gz')).size).toBeLessThan(LARGEST_BYTES);
    demoCaseSchema.parse(JSON.parse(textOfDemo(folder, 'case.json')));
  });

  it.each(folders)('%s: the analysis finds what the virtual car did', (folder) => {
    const findings = analyseDemo(folder);
    expect(findingsSchema.parse(findings)).toEqual(findings);
    const { checks } = JSON.parse(textOfDemo(folder, 'expected.json')) as Expected;
    expect(checks.length).toBeGreaterThan(15);
    expect(checks.map((check) => complaint(findings, check)).filter((c) => c !== null)).toEqual([]);
  });
});
