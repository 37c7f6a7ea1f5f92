import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import path from 'node:path';
import { afterEach, beforeEach, describe, expect, test } from 'vitest';
import { thresholdSchema } from '../../server/messages/attempts.ts';
import { comparisonSchema } from '../../server/messages/compare.ts';
import { openStore } from '../../server/store/openStore.ts';
import { CASE } from '../contract/store.ts';
import { nightdrawIn, type Outcome } from '../helpers/nightdrawIn.ts';

let cwd: string;
beforeEach(() => (cwd = mkdtempSync(path.join(tmpdir(), 'nightdraw-cli-'))));
afterEach(() => rmSync(cwd, { recursive: true }));

const run = (...argv: string[]) => nightdrawIn(cwd, ...argv);
const write = (name: string, text: string) => writeFileSync(path.join(cwd, name), text);

function expectRefused(ran: Outcome, sentence: RegExp): void {
  expect(ran.err).toMatch(sentence);
  expect(ran.err).toMatch(/^[^\n]+\n$/);
  expect([ran.code, ran.out]).toEqual([2, '']);
}

const TRIES = 'voltage_V,worked\n11.2,0\n11.3,0\n11.4,0\n11.5,0\n11.9,1\n12.0,1\n12.1,1\n12.2,1\n';

describe('nightdraw threshold', () => {
  test('prints one document with --json, sentences without', async () => {
    write('tries.csv', TRIES);
    const { code, out, err } = await run('threshold', 'tries.csv', '--json');
    expect([code, err]).toEqual([0, '']);
    const document = thresholdSchema.parse(JSON.parse(out));
    expect(document).toMatchObject({ method: 'bracket', bracketV: [11.5, 11.9], tries: 8, worked: 4 });
    expect(document.thresholdV!.value).toBeCloseTo(11.7, 9);
    expect((await run('threshold', 'tries.csv')).out).toMatch(
      /^Threshold 11\.7 V ± 0\.\d V\.\n {2}4 of 8 tries/,
    );
  });

  test.each([
    [
      'semicolons and a decimal comma',
      'place;worked;voltage_V\nyard;0;11,5\n\nyard;1;12,25\n',
      [11.5, 12.25],
    ],
    [
      'tabs, other columns and a byte order mark',
      '\ufeffvoltage_V\tworked\tnote\n11.5\t0\t\n12.25\t1\tx\n',
      [11.5, 12.25],
    ],
    ['only a header', 'voltage_V,worked\n', [null, null]],
  ])('reads %s', async (_name, text, bracketV) => {
    write('tries.csv', text);
    const { code, out } = await run('threshold', 'tries.csv', '--json');
    expect(code).toBe(0);
    expect(JSON.parse(out)).toMatchObject({ bracketV, thresholdV: null });
  });

  test.each([
    ['an empty file', '', /tries\.csv, line 1: the file is empty/],
    ['a missing column', 'voltage_V,ok\n12,1\n', /tries\.csv, line 1: there is no column "worked"/],
    ['a column twice', 'worked,voltage_V,worked\n1,12,1\n', /line 1: there are 2 columns "worked"/],
    ['another word', 'voltage_V,worked\n12,1\n11,yes\n', /line 3: "yes" is neither 0 nor 1/],
    ['no number', 'voltage_V,worked\ntwelve,1\n', /line 2: "twelve" is not a number/],
    ['millivolts', 'voltage_V,worked\n12,1\n\n11900,1\n', /line 4: "11900" is no voltage of a car/],
    ['a blank', 'voltage_V,worked\n12,\n', /line 2: "worked" is missing/],
    ['a short line', 'worked,voltage_V\n1\n', /line 2: the voltage is missing/],
    ['broken quoting', 'voltage_V,worked\n"12,1\n', /line 2: a quote is opened/],
  ])('refuses %s with file, line and reason', async (_name, text, sentence) => {
    write('tries.csv', text);
    expectRefused(await run('threshold', 'tries.csv', '--json'), sentence);
  });

  test('refuses a file that is not there, and none', async () => {
    expectRefused(await run('threshold', 'none.csv'), /There is no file/);
    expectRefused(await run('threshold'), /^Name the file with the tries/);
  });
});

describe('nightdraw fuse', () => {
  test('turns millivolts into amperes', async () => {
    const { code, out, err } = await run(
      'fuse',
      '--rating',
      '10',
      '--kind',
      'standard',
      '--mv',
      '1.0',
      '--json',
    );
    expect([code, err]).toEqual([0, '']);
    const { currentA, source } = JSON.parse(out) as {
      currentA: { value: number; expandedUncertainty: number };
      source: string;
    };
    expect(currentA.value).toBeCloseTo(0.13, 3);
    expect(currentA.expandedUncertainty).toBeCloseTo(Math.hypot(0.015, 0.015), 4);
    expect(source).toContain('published chart');
    expect((await run('fuse', '--rating=7,5', '--kind=standard', '--mv=-0.3')).out).toMatch(
      /^-27 mA ± 12 mA\n/,
    );
  });

  test('a digit more is a finer reading', async () => {
    const u = async (mv: string) =>
      (JSON.parse((await run('fuse', '--rating', '20', '--kind', 'standard', '--mv', mv, '--json')).out) as { currentA: { expandedUncertainty: number } }).currentA.expandedUncertainty; // prettier-ignore
    expect(await u('0.30')).toBeLessThan(0.6 * (await u('0.3')));
  });

  test.each([
    [['--kind', 'standard', '--mv', '1'], /^Give --rating/],
    [['--rating', '10', '--mv', '1'], /^Give --kind/],
    [['--rating', '10', '--kind', 'standard'], /^Give --mv/],
    [['--rating', '11', '--kind', 'standard', '--mv', '1'], /no figure for a standard fuse of that rating/],
    [['--rating', '10', '--kind', 'mini', '--mv', '1'], /--rating takes 15\.$/m],
    [['--rating', '10', '--kind', 'maxi', '--mv', '1'], /nothing is known of other kinds/],
    [['--rating', '10', '--kind', 'standard', '--mv', 'one'], /--mv needs a number/],
    [['10', '--rating', '10', '--kind', 'standard', '--mv', '1'], /"10" is not understood/],
  ])('refuses %j', async (argv, sentence) => {
    expectRefused(await run('fuse', ...argv), sentence);
  });
});

describe('nightdraw compare', () => {
  const night = (amps: number, seed: number): string => {
    const lines = ['time_s,current_A'];
    for (let t = 0; t < 4000; t += 1)
      lines.push(`${t},${(amps + 0.0004 * Math.sin(t * (1 + seed / 10))).toFixed(4)}`);
    return `${lines.join('\n')}\n`;
  };

  test('of two files says what changed', async () => {
    write('before.csv', night(0.072, 1));
    write('after.csv', night(0.031, 2));
    const { code, out, err } = await run('compare', 'before.csv', 'after.csv', '--json');
    expect([code, err]).toEqual([0, '']);
    const c = comparisonSchema.parse(JSON.parse(out));
    const draw = c.figures.find((f) => f.figure === 'average-after-sleep')!;
    expect(draw.verdict).toBe('fell');
    expect(draw.change!.value).toBeCloseTo(-0.041, 3);
    expect((await run('compare', 'before.csv', 'after.csv')).out).toMatch(
      /^Before: before\.csv\nAfter: {2}after\.csv\n\nAverage after sleep fell by 41/,
    );
  });

  test('a recording with a file, and a car whose threshold was measured', async () => {
    write('night.csv', night(0.05, 3));
    const id = (await run('import', 'night.csv')).out.trim();
    expect((await run('compare', id, 'night.csv')).out).toContain(
      'No figure changed by more than its uncertainty.',
    );

    const store = openStore(path.join(cwd, 'data', 'nightdraw.db'));
    const theCase = store.createCase({ ...CASE, thresholdV: 11.5 });
    store.moveRecording(id, theCase.id);
    const battery = async (...more: string[]) =>
      (JSON.parse((await run('analyse', id, '--json', ...more)).out) as { battery: Record<string, unknown> })
        .battery;
    expect(await battery()).toMatchObject({ thresholdV: 11.5, thresholdFrom: 'set' });
    store.setMeasuredThreshold(theCase.id, {
      thresholdV: 11.84,
      expandedUncertaintyV: 0.1,
      method: 'logistic',
      tries: 12,
      takenAt: '2026-01-05T21:13:01.500Z',
    });
    store.close();
    expect(await battery()).toMatchObject({ thresholdV: 11.84, thresholdFrom: 'measured-on-this-car' });
    expect(await battery('--threshold-v', '12')).toMatchObject({ thresholdV: 12, thresholdFrom: 'set' });
  });

  test('refuses one, three, and what is not there', async () => {
    write('a.csv', night(0.05, 3));
    expectRefused(await run('compare', 'a.csv'), /^Name two recordings or files/);
    expectRefused(await run('compare', 'a.csv', 'a.csv', 'a.csv'), /one too many/);
    expectRefused(await run('compare', 'a.csv', 'No such'), /There is no file No such/);
    expectRefused(await run('compare', 'a.csv', 'abcdefgh2345'), /no such recording/);
  });
});
