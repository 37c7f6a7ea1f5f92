import { rmSync } from 'node:fs';
import path from 'node:path';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { processClock } from '../../drivers/links/node/clock.ts';
import type { RecordingDetail } from '../../server/messages/http.ts';
import { recordingSchema, type Recording } from '../../server/messages/records.ts';
import { createCar } from '../../server/simulator/car.ts';
import { virtualPeers } from '../../server/simulator/peer.ts';
import { SCENARIOS } from '../../server/simulator/scenarios.ts';
import { openStore } from '../../server/store/openStore.ts';
import { startRig, type Rig } from '../bluetooth/rig.ts';
import { get, post, until } from '../helpers/http.ts';
import { temporaryFolder } from '../helpers/hubBench.ts';
import { runCommand, startCommand } from '../helpers/runCommand.ts';

let data: string;
let rig: Rig;
let closedOnNothing = false;
const own = { NODE_OPTIONS: process.env.NODE_OPTIONS, NIGHTDRAW_RIG: process.env.NIGHTDRAW_RIG };

/** The virtual car's meters on a real radio stack: noble, unmodified, over a virtual controller. */
beforeEach(async () => {
  data = temporaryFolder();
  const car = createCar(SCENARIOS.live, 3);
  const peers = virtualPeers(car, { originMs: processClock.nowMs(), isOff: () => closedOnNothing });
  closedOnNothing = false;
  rig = await startRig({ peripherals: peers.map((peer) => ({ peer })) });
  Object.assign(process.env, rig.env);
});

afterEach(async () => {
  for (const [name, value] of Object.entries(own))
    if (value === undefined) delete process.env[name];
    else process.env[name] = value;
  await rig.close();
  rmSync(data, { recursive: true, force: true });
});

const address = (id: string) => rig.peripheral(id).address;

describe('with an adapter and two meters in range', { timeout: 60_000 }, () => {
  it('meters lists them', async () => {
    const { code, stdout, stderr } = await runCommand(['meters', '--seconds', '1', '--json']);
    expect([code, stderr]).toEqual([0, '']);
    const listed = JSON.parse(stdout) as { id: string; name: string; known: boolean }[];
    expect(listed.map((m) => [m.id, m.name]).sort()).toEqual([
      [address('clamp'), 'Virtual clamp'],
      [address('voltmeter'), 'Virtual voltmeter'],
    ]);
    const table = await runCommand(['meters', '--seconds', '1']);
    expect(table.stdout).toContain(`${address('clamp')}  `);
    expect(table.stdout.split('\n')).toHaveLength(3);
  });

  it('record checks the zero before and after', async () => {
    closedOnNothing = true;
    const argv = [
      'record',
      '--meter',
      address('clamp'),
      '--seconds',
      '2',
      '--zero',
      '1',
      '--zero-pause',
      '0',
    ];
    const { code, stdout, stderr } = await runCommand([...argv, '--data', data]);
    expect(code).toBe(0);
    expect(stderr.match(/^Zero of current: /gm)).toHaveLength(2);
    const store = openStore(path.join(data, 'nightdraw.db'));
    const checks = store.listZeroChecks(stdout.trim());
    store.close();
    expect(checks.map((c) => c.quantity)).toEqual(['current', 'current']);
    for (const { mean } of checks) expect(Math.abs(mean)).toBeLessThan(0.01);
    expect(checks[0]!.atMs).toBeLessThan(0);
    expect(checks[1]!.atMs).toBeGreaterThan(2000);
  });

  it('record stores what they say', async () => {
    const argv = ['record', '--meter', address('clamp'), address('voltmeter'), '--seconds', '3'];
    const { code, stdout, stderr } = await runCommand([...argv, '--data', data, '--json']);
    expect([code, stderr]).toEqual([0, '']);
    const recording = recordingSchema.parse(JSON.parse(stdout));
    expect(recording.channels.map((c) => [c.quantity, c.meterName]).sort()).toEqual([
      ['current', 'Virtual clamp'],
      ['voltage', 'Virtual voltmeter'],
    ]);
    expect(recording.durationMs).toBeGreaterThanOrEqual(3000);
    const store = openStore(path.join(data, 'nightdraw.db'));
    for (const { id, quantity } of recording.channels) {
      const { counts, t } = store.readSamples(id);
      expect(counts.length).toBeGreaterThan(10);
      expect(Math.min(...counts)).toBeGreaterThan(quantity === 'voltage' ? 11_000 : 1000);
      expect(Math.max(...counts)).toBeLessThan(quantity === 'voltage' ? 13_000 : 9000);
      expect(t.every((ms, i) => i === 0 || ms > t[i - 1]!)).toBe(true);
    }
    expect(store.listGaps(recording.id)).toEqual([]);
    store.close();
  });

  it('serve records them, and goes on when the radio process dies under it', async () => {
    const server = startCommand(['serve', '--port', '0', '--data', data]);
    const url = await until(() => /http:\/\/[\d.:]+/.exec(server.stdout())?.[0]);
    try {
      const scanned = await post<{ key: string; name: string }[]>(`${url}/api/meters/scan`, { seconds: 2 });
      expect(scanned.map((m) => m.name)).toEqual(['Virtual clamp', 'Virtual voltmeter']);
      const { key } = scanned[0]!;
      await post(`${url}/api/meters/${key}/connect`);
      const state = async () =>
        (await get<{ key: string; state: string }[]>(`${url}/api/meters`)).find((m) => m.key === key)!.state;
      await until(async () => (await state()) === 'connected');
      const { id } = await post<Recording>(`${url}/api/recordings`, {
        kind: 'overnight-test',
        title: 'Night',
        meters: [key],
      });
      const detail = () => get<RecordingDetail>(`${url}/api/recordings/${id}`);
      await until(async () => (await detail()).recording.channels[0]!.samples > 10);
      rig.crashProgram();
      const { gaps } = await until(async () => {
        const now = await detail();
        return now.gaps.length > 0 ? now : null;
      });
      expect(gaps.map((g) => g.reason)).toEqual(['link-died']);
      expect(gaps[0]!.endMs - gaps[0]!.startMs).toBeLessThan(15_000);
      const stopped = await post<Recording>(`${url}/api/recordings/${id}/stop`);
      const kinds = (await detail()).events.map((e) => e.kind);
      expect(kinds).toEqual(['started', 'meter-dropped', 'meter-connected', 'stopped']);
      expect(stopped.channels[0]!.samples).toBeGreaterThan(10);
    } finally {
      server.interrupt();
      expect((await server.done).code).toBe(0);
    }
  });
});

describe('without a usable adapter', { timeout: 60_000 }, () => {
  it.each([
    [{ present: false }, /no Bluetooth Low Energy adapter/],
    [{ supported: false }, /no Bluetooth support/],
    [{ installed: false }, /library is not installed/],
  ])('meters and record say why in one sentence: %j', async (state, sentence) => {
    rig.set(state);
    const looked = await runCommand(['meters', '--seconds', '5', '--json']);
    expect([looked.code, looked.stdout]).toEqual([1, '']);
    expect(looked.stderr).toMatch(sentence);
    const recorded = await runCommand(['record', '--meter', 'c0:de:00:00:00:01', '--data', data]);
    expect([recorded.code, recorded.stdout]).toEqual([1, '']);
    expect(recorded.stderr).toMatch(sentence);
    expect(recorded.stderr.split('\n')).toHaveLength(2);
  });
});
