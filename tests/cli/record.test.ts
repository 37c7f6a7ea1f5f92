import { readdirSync, rmSync } from 'node:fs';
import path from 'node:path';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { caseInputSchema, recordingSchema, type Recording } from '../../server/messages/records.ts';
import { makeNight } from '../../server/simulator/night.ts';
import { UsageError } from '../../server/cli/command.ts';
import { writeEveryMs } from '../../server/cli/writeEvery.ts';
import { SCENARIOS } from '../../server/simulator/scenarios.ts';
import { openStore } from '../../server/store/openStore.ts';
import type { Store } from '../../server/store/store.ts';
import { temporaryFolder } from '../helpers/hubBench.ts';
import { runCommand, startCommand } from '../helpers/runCommand.ts';

let data: string;

beforeEach(() => {
  data = temporaryFolder();
});
afterEach(() => rmSync(data, { recursive: true, force: true }));

function inStore<T>(look: (store: Store) => T): T {
  const store = openStore(path.join(data, 'nightdraw.db'));
  try {
    return look(store);
  } finally {
    store.close();
  }
}

async function recordVirtual(...more: string[]): Promise<Recording> {
  const argv = ['record', '--virtual', '--speed', '0', '--data', data, '--json', ...more];
  const { code, stdout, stderr } = await runCommand(argv);
  expect([code, stderr]).toEqual([0, '']);
  return recordingSchema.parse(JSON.parse(stdout));
}

describe('nightdraw record --virtual', () => {
  it('writes to the disk as often as asked, within bounds', () => {
    expect(writeEveryMs({ values: {} })).toBe(250);
    expect(writeEveryMs({ values: { 'write-every': '1000' } })).toBe(1000);
    for (const text of ['', '49', '1001', 'often', 'NaN'])
      expect(() => writeEveryMs({ values: { 'write-every': text } })).toThrow(UsageError);
  });

  it('takes a whole night through link, driver, recorder and store, with nothing lost or changed', async () => {
    const began = performance.now();
    const recording = await recordVirtual('--scenario', 'short-night', '--seed', '42');
    expect(performance.now() - began).toBeLessThan(15_000);

    const scenario = SCENARIOS['short-night'];
    expect(recording).toMatchObject({
      state: 'stopped',
      kind: 'overnight-test',
      durationMs: scenario.nightS * 1000,
      provenance: expect.stringContaining('not of a real vehicle') as string,
    });
    const truth = makeNight(scenario, 42);
    inStore((store) => {
      const columns = recording.channels.map((c) => store.readSamples(c.id));
      [truth.clamp, truth.voltmeter].forEach((made, i) => {
        const stored = columns[i]!;
        expect(stored.length).toBeGreaterThan(500);
        expect(Math.abs(stored.length - made.length)).toBeLessThanOrEqual(1);
        expect(stored.counts).toEqual(made.counts.slice(0, stored.length));
        // Whole milliseconds: the radio stamps these meters.
        for (let k = 0; k < stored.length; k++)
          expect(Math.abs(stored.t[k]! - made.t[k]!)).toBeLessThanOrEqual(0.5);
      });
      expect(store.listGaps(recording.id)).toEqual([]);
      expect(store.listEvents(recording.id).map((e) => e.kind)).toEqual(['started', 'stopped']);
    });
    expect(readdirSync(data).filter((name) => name.endsWith('.lock'))).toEqual([]);
  });

  it('gives the same night for the same seed, and another for another', async () => {
    const counts = (recording: Recording) =>
      inStore((store) => recording.channels.map((c) => [...store.readSamples(c.id).counts]));
    const short = ['--seconds', '120', '--scenario', 'live'];
    const one = counts(await recordVirtual(...short, '--seed', '1'));
    expect(counts(await recordVirtual(...short, '--seed', '1'))).toEqual(one);
    expect(counts(await recordVirtual(...short, '--seed', '2'))).not.toEqual(one);
  });

  it('runs so many times faster than time', async () => {
    const began = performance.now();
    const argv = ['record', '--virtual', '--speed', '60', '--seconds', '30', '--data', data, '--json'];
    const { code, stdout } = await runCommand(argv);
    const took = performance.now() - began;
    expect(code).toBe(0);
    expect(recordingSchema.parse(JSON.parse(stdout)).durationMs).toBe(30_000);
    expect(took).toBeGreaterThan(490);
    expect(took).toBeLessThan(5000);
  });

  it('keeps what it has when it is interrupted, and prints the id alone without --json', async () => {
    const running = startCommand([
      'record',
      '--virtual',
      '--seconds',
      '36000',
      '--speed',
      '20',
      '--data',
      data,
    ]);
    await new Promise((resolve) => setTimeout(resolve, 1500));
    running.interrupt();
    const { code, stdout } = await running.done;
    expect(code).toBe(0);
    expect(stdout).toMatch(/^[a-z0-9]+\n$/);
    inStore((store) => {
      const { state, durationMs, channels } = store.getRecording(stdout.trim());
      expect(state).toBe('stopped');
      expect(durationMs).toBeGreaterThan(10_000);
      expect(channels.every((c) => c.samples > 1)).toBe(true);
    });
  });

  it('belongs to the case that it is given', async () => {
    const { id } = inStore((store) => store.createCase(caseInputSchema.parse({ title: 'Car' })));
    expect((await recordVirtual('--seconds', '10', '--case', id)).caseId).toBe(id);
    const argv = ['record', '--virtual', '--seconds', '10', '--speed', '0', '--data', data];
    const missing = await runCommand([...argv, '--case', 'gone1234']);
    expect([missing.code, missing.stdout]).toEqual([2, '']);
    expect(missing.stderr).toMatch(/^[^\n]+\.\n$/);
    inStore((store) => expect(store.listRecordings()).toHaveLength(1));
  });
});

describe('nightdraw record', () => {
  it.each([
    [[], /--meter/],
    [['--virtual', '--meter', 'aa:bb'], /not both/],
    [['--virtual', '--scenario', 'flood'], /short-night/],
    [['--virtual', '--seconds', 'ten'], /--seconds/],
    [['--virtual', '--seconds=-1'], /--seconds/],
    [['--virtual', '--speed=-1'], /--speed/],
    [['--virtual', '--seed', '1.5'], /--seed/],
    [['--virtual', '--case', 'X'], /case/],
    [['--meter', 'a b'], /a b/],
    [['--meter', 'aa:bb', '--speed', '2'], /--virtual/],
    [['--colour', 'red'], /--colour/],
  ])('is told %j in one sentence, and records nothing', async (argv, sentence) => {
    const { code, stdout, stderr } = await runCommand(['record', '--data', data, ...argv]);
    expect([code, stdout]).toEqual([2, '']);
    expect(stderr).toMatch(sentence);
    expect(stderr).toMatch(/^[^\n]+\n$/);
    expect(readdirSync(data)).toEqual([]);
  });
});
