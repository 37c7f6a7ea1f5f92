import {
  existsSync,
  mkdirSync,
  mkdtempSync,
  readdirSync,
  readFileSync,
  rmSync,
  writeFileSync,
} from 'node:fs';
import { tmpdir } from 'node:os';
import path from 'node:path';
import { gunzipSync } from 'node:zlib';
import { afterEach, beforeEach, describe, expect, test } from 'vitest';
import { COMMANDS } from '../../server/cli/index.ts';
import { findingsSchema } from '../../server/messages/findings.ts';
import { idSchema } from '../../server/messages/records.ts';
import { openStore } from '../../server/store/openStore.ts';
import { CASE } from '../contract/store.ts';
import { nightdrawIn, type Outcome } from '../helpers/nightdrawIn.ts';

const NIGHT = path.resolve(import.meta.dirname, '../../recordings/healthy-night/night.csv.gz');

let cwd: string;
beforeEach(() => (cwd = mkdtempSync(path.join(tmpdir(), 'nightdraw-cli-'))));
afterEach(() => rmSync(cwd, { recursive: true }));

const run = (...argv: string[]) => nightdrawIn(cwd, ...argv);
const write = (name: string, text: string) => writeFileSync(path.join(cwd, name), text);
const read = (name: string) => readFileSync(path.join(cwd, name));
const store = () => openStore(path.join(cwd, 'data', 'nightdraw.db'));

/** Bad use or input: exit 2, nothing on standard output, one sentence on standard error. */
function expectRefused(ran: Outcome, sentence: RegExp): void {
  expect(ran.err).toMatch(sentence);
  expect(ran.err).toMatch(/^[^\n]+\n$/);
  expect([ran.code, ran.out]).toEqual([2, '']);
}

const SMALL = 'time_s,current_A,voltage_V\n0,0.025,12.630\n0.1,0.026,\n0.2,0.024,12.629\n';

describe('nightdraw', () => {
  test('takes a negative number after an option, as a winter morning needs it', async () => {
    write('night.csv', SMALL);
    const cold = await run('analyse', 'night.csv', '--json', '--temperature-c', '-12');
    expect([cold.code, cold.err]).toEqual([0, '']);
    expect(cold.out).toBe((await run('analyse', 'night.csv', '--json', '--temperature-c=-12')).out);
    expectRefused(
      await run('analyse', 'night.csv', '--threshold-v', '-1'),
      /^--threshold-v needs volts above 0/,
    );
  });

  test('--help lists every command, --version is that of the package', async () => {
    const { code, out, err } = await run('--help');
    expect([code, err]).toEqual([0, '']);
    for (const name of Object.keys(COMMANDS)) expect(out).toMatch(new RegExp(`^  ${name} +\\w`, 'm'));
    const { version } = JSON.parse(readFileSync(path.resolve('package.json'), 'utf8')) as { version: string };
    expect(await run('--version')).toEqual({ code: 0, out: `${version}\n`, err: '' });
  });

  test.each(Object.keys(COMMANDS))('%s --help says how it is used', async (name) => {
    const { code, out, err } = await run(name, '--help');
    expect([code, err]).toEqual([0, '']);
    expect(out).toContain(`Usage: nightdraw ${name}`);
    expect((await COMMANDS[name]!()).name).toBe(name);
  });

  test('without a command it shows the same on standard error', async () => {
    const { code, out, err } = await run();
    expect([code, out]).toEqual([2, '']);
    expect(err).toContain('Usage: nightdraw COMMAND');
  });

  test('refuses unknown commands and options', async () => {
    expectRefused(await run('analyze'), /no command "analyze"/);
    expectRefused(await run('toString'), /no command "toString"/);
    expectRefused(await run('import', '--nope', 'x'), /--nope.*nightdraw import --help/);
    expectRefused(await run('import', 'x', '--case'), /--case.*nightdraw import --help/);
  });
});

describe('import', () => {
  test('prints the id of what it stored', async () => {
    write('a.csv', SMALL);
    const { code, out, err } = await run('import', 'a.csv');
    expect([code, err]).toEqual([0, '']);
    const id = out.trim();
    expect(idSchema.parse(id)).toBe(id);
    const s = store();
    expect(s.getRecording(id)).toMatchObject({
      title: 'a',
      kind: 'imported',
      state: 'stopped',
      durationMs: 200,
    });
    expect(s.getRecording(id).provenance).toMatch(/^Imported from a\.csv, SHA-256 [0-9a-f]{64}\.$/);
    s.close();
  });

  test('several files make several recordings, in a case, and as one JSON document', async () => {
    write('a.csv', SMALL);
    write('b.csv', SMALL);
    const s = store();
    const { id: caseId } = s.createCase(CASE);
    const { code, out } = await run('import', 'a.csv', 'b.csv', '--case', caseId, '--json');
    expect(code).toBe(0);
    const { recordings } = JSON.parse(out) as { recordings: { file: string; id: string }[] };
    expect(recordings.map((r) => r.file)).toEqual(['a.csv', 'b.csv']);
    expect(s.listRecordings(caseId).map((r) => r.id)).toEqual(recordings.map((r) => r.id).reverse());
    s.close();
  });

  test('a bad file means that none is imported', async () => {
    write('a.csv', SMALL);
    write('b.csv', `${SMALL}0.3,oops,\n`);
    expectRefused(await run('import', 'a.csv', 'b.csv'), /^b\.csv, line 5: "oops" is not a number$/m);
    const s = store();
    expect(s.listRecordings()).toEqual([]);
    s.close();
  });

  test('names what is missing', async () => {
    expectRefused(await run('import'), /Name the file/);
    expectRefused(await run('import', 'none.csv'), /There is no file .*none\.csv/);
    expectRefused(await run('import', '.'), /is a folder/);
    write('a.csv', SMALL);
    expectRefused(await run('import', 'a.csv', '--case', 'nope'), /no such case/);
  });
});

describe('export', () => {
  test('gives the digits back, and the same again after importing it', async () => {
    write('a.csv', SMALL);
    const id = (await run('import', 'a.csv')).out.trim();
    const { code, out, err } = await run('export', id);
    expect([code, err]).toEqual([0, '']);
    const lines = out.trimEnd().split('\n');
    expect(lines[0]).toBe('time_s,current_A,voltage_V,nightdraw');
    expect(lines[1]).toMatch(/^0\.000,0\.025,12\.630,"\{""recording"":/);
    expect(lines.slice(2)).toEqual(['0.100,0.026,,', '0.200,0.024,12.629,']);

    expect(await run('export', id, '--format', 'csv', '-o', 'b.csv')).toEqual({ code: 0, out: '', err: '' });
    expect(read('b.csv').toString()).toBe(out);
    expect(await run('export', id, '-o', 'b.parquet')).toEqual({ code: 0, out: '', err: '' });
    expect(read('b.parquet').subarray(0, 4).toString()).toBe('PAR1');
    expectRefused(await run('export', id, '--format', 'parquet'), /-o FILE/);
    await run('export', id, '-o', 'b.csv.gz');
    expect(gunzipSync(read('b.csv.gz')).toString()).toBe(out);

    const again = (await run('import', 'b.csv.gz')).out.trim();
    const rest = (text: string) => text.split('\n').slice(2);
    expect(rest((await run('export', again)).out)).toEqual(rest(out));
  });

  test('leaves no half file behind and refuses in one sentence', async () => {
    expectRefused(await run('export'), /Name the recording/);
    expectRefused(await run('export', 'nope1234'), /no such recording/);
    write('a.csv', SMALL);
    const id = (await run('import', 'a.csv')).out.trim();
    expectRefused(await run('export', id, id), /one too many/);
    expectRefused(await run('export', id, '--format', 'xls'), /"xls" is not known/);
    expectRefused(await run('export', id, '-o', 'none/b.csv'), /cannot be written/);
    mkdirSync(path.join(cwd, 'taken'));
    expectRefused(await run('export', id, '-o', 'taken'), /cannot be written/);
    expect(readdirSync(cwd).sort()).toEqual(['a.csv', 'data', 'taken']);
  });
});

describe('analyse', () => {
  const findings = async (...argv: string[]) => {
    const { code, out, err } = await run('analyse', ...argv, '--json');
    expect([code, err]).toEqual([0, '']);
    expect(out.trimEnd()).not.toContain('\n');
    return findingsSchema.parse(JSON.parse(out));
  };

  test(
    'says the same of a file, of its recording, and of that recording exported',
    { timeout: 60_000 },
    async () => {
      const ofFile = await findings(NIGHT);
      const id = (await run('import', NIGHT)).out.trim();
      expect(await findings(id)).toEqual(ofFile);
      await run('export', id, '-o', 'again.csv.gz');
      expect(await findings('again.csv.gz')).toEqual(ofFile);
      const again = (await run('import', 'again.csv.gz')).out.trim();
      expect(await findings(again)).toEqual(ofFile);
      expect(ofFile.recording.channels.map((c) => c.quantity)).toEqual(['current', 'voltage']);
      expect(ofFile.sleep.state).toBe('slept');
    },
  );

  test('takes its options, and for a recording those of its case', async () => {
    const rows = gunzipSync(readFileSync(NIGHT)).toString().split('\n');
    write('short.csv', rows.slice(0, 10_000).join('\n'));
    expect((await findings('short.csv')).battery).toMatchObject({ thresholdFrom: 'default' });
    const asked = await findings(
      'short.csv',
      '--threshold-v',
      '11.9',
      '--chemistry',
      'AGM',
      '--capacity-ah',
      '70',
    );
    expect(asked.battery).toMatchObject({ thresholdV: 11.9, thresholdFrom: 'set' });
    const s = store();
    const { id: caseId } = s.createCase({ ...CASE, thresholdV: 12.05 });
    s.close();
    const id = (await run('import', 'short.csv', '--case', caseId)).out.trim();
    expect((await findings(id)).battery.thresholdV).toBe(12.05);
    expect((await findings(id, '--threshold-v', '11')).battery.thresholdV).toBe(11);
  });

  test('speaks in sentences without --json', async () => {
    const { code, out, err } = await run('analyse', NIGHT);
    expect([code, err]).toEqual([0, '']);
    expect(out).toMatch(/^[A-Z][^\n]+\.\n/);
    for (const topic of ['Recording', 'Sleep', 'Polling', 'Draw', 'Battery'])
      expect(out).toMatch(new RegExp(`^${topic}$`, 'm'));
    expect(out).not.toMatch(/undefined|NaN|null|\[object/);
  });

  test('refuses what it cannot use, and makes no database for a file', async () => {
    expectRefused(await run('analyse'), /Name the file or the recording/);
    expectRefused(await run('analyse', 'none.csv'), /There is no file none\.csv/);
    write('a.csv', 'time_s,current_A\n0,x\n');
    expectRefused(await run('analyse', 'a.csv'), /^a\.csv, line 2: /);
    for (const [option, value, sentence] of [
      ['--capacity-ah', '0', /--capacity-ah needs a number/],
      ['--capacity-ah', 'many', /--capacity-ah needs a number/],
      ['--chemistry', 'lithium', /--chemistry needs flooded, efb, agm or gel/],
      ['--temperature-c', '400', /--temperature-c needs/],
      ['--meter-accuracy', 'good', /--meter-accuracy needs what the data sheet says/],
      ['--aperture-ms', '', /--aperture-ms needs/],
      ['--threshold-v', '-1', /--threshold-v/],
      ['--draw-limit-a', '1e9', /--draw-limit-a needs/],
    ] as const)
      expectRefused(await run('analyse', NIGHT, option, value), sentence);
    expect(existsSync(path.join(cwd, 'data'))).toBe(false);
    expectRefused(await run('analyse', 'abcd1234'), /no such recording/);
  });
});
