import { spawn } from 'node:child_process';
import { mkdtempSync, rmSync } from 'node:fs';
import os from 'node:os';
import path from 'node:path';
import { setTimeout as delay } from 'node:timers/promises';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { processClock } from '../../drivers/links/node/clock.ts';
import { findingsSchema, type Findings } from '../../server/messages/findings.ts';
import type { Meter } from '../../server/messages/meters.ts';
import type { Recording } from '../../server/messages/records.ts';
import { createCar } from '../../server/simulator/car.ts';
import { virtualPeers } from '../../server/simulator/peer.ts';
import { SCENARIOS } from '../../server/simulator/scenarios.ts';
import { startRig } from '../bluetooth/rig.ts';
import { EmulatedBluez } from '../browser/rig/bluez.ts';
import { launchChromium } from '../browser/rig/chromium.ts';
import { Nightdraw } from '../browser/rig/nightdraw.ts';

/**
 * One short night of one virtual car, three ways: the command line on the car's own clock; noble over HCI from
 * a virtual adapter, in real time; Web Bluetooth in a real Chromium, in real time. The findings must agree.
 */
const SCENARIO = SCENARIOS['short-night'];
const SEED = 11;
/** The night begins so long after the meters are in the air, so that everyone is connected by then. */
const LEAD_S = 12;
const SECONDS = LEAD_S + SCENARIO.nightS;
const PROGRAM = new URL('../../.build/server/main.js', import.meta.url).pathname;
const data = mkdtempSync(path.join(os.tmpdir(), 'nightdraw-story-'));

function nightdraw(args: readonly string[], env: Readonly<Record<string, string>> = {}): Promise<string> {
  return new Promise((resolve, reject) => {
    const child = spawn(process.execPath, [PROGRAM, ...args, '--data', data], {
      env: { ...process.env, ...env },
      stdio: ['ignore', 'pipe', 'pipe'],
    });
    let out = '';
    let err = '';
    child.stdout.on('data', (chunk: Buffer) => (out += chunk.toString()));
    child.stderr.on('data', (chunk: Buffer) => (err += chunk.toString()));
    child.once('exit', (code) => (code === 0 ? resolve(out) : reject(new Error(`exit ${code}: ${err}`))));
  });
}

async function findingsOf(id: string): Promise<Findings> {
  return findingsSchema.parse(JSON.parse(await nightdraw(['analyse', id, '--json'])));
}

function peersInTheAir() {
  return virtualPeers(createCar(SCENARIO, SEED), { originMs: processClock.nowMs() + LEAD_S * 1000 });
}

async function throughCommandLine(): Promise<Findings> {
  const args = ['--virtual', '--scenario', 'short-night', '--seed', String(SEED), '--speed', '0'];
  return findingsOf((await nightdraw(['record', ...args])).trim());
}

async function throughNoble(): Promise<Findings> {
  const rig = await startRig({ peripherals: peersInTheAir().map((peer) => ({ peer })) });
  try {
    const meters = ['clamp', 'voltmeter'].flatMap((id) => ['--meter', rig.peripheral(id).address]);
    const id = await nightdraw(['record', ...meters, '--seconds', String(SECONDS)], rig.env);
    return await findingsOf(id.trim());
  } finally {
    await rig.close();
  }
}

async function throughPage(): Promise<Findings> {
  const bluez = new EmulatedBluez();
  const server = new Nightdraw();
  await bluez.start();
  await server.start();
  const browser = await launchChromium(bluez.address);
  try {
    const addresses = ['C0:FF:EE:00:00:01', 'C0:FF:EE:00:00:02'];
    const bench = await browser.openPage(`${server.url}#/meters`);
    peersInTheAir().forEach((peer, i) => bluez.addMeter(addresses[i]!, peer));
    for (const [i, address] of addresses.entries()) {
      bench.choose = address;
      await bench.page.getByRole('button', { name: 'Connect a meter in this browser' }).first().click();
      await until(async () => (await pageMeters(server)).length === i + 1);
    }
    const meters = (await pageMeters(server)).map((m) => m.key);
    const { id } = await server.post<Recording>('recordings', {
      kind: 'overnight-test',
      title: 'Short night',
      meters,
    });
    await delay(SECONDS * 1000);
    await server.post<Recording>(`recordings/${id}/stop`, {});
    await until(
      async () => (await server.get<{ recording: Recording }>(`recordings/${id}`)).recording.durationMs > 0,
    );
    return findingsSchema.parse(await server.get<unknown>(`recordings/${id}/findings`));
  } finally {
    await browser.close();
    await server.close();
    await bluez.stop();
  }
}

async function pageMeters(server: Nightdraw): Promise<Meter[]> {
  const meters = await server.get<Meter[]>('meters');
  return meters.filter((m) => m.source === 'page' && m.state === 'connected');
}

async function until(condition: () => Promise<boolean>): Promise<void> {
  for (let tries = 0; tries < 400; tries++) {
    if (await condition()) return;
    await delay(50);
  }
  throw new Error('waited 20 s for nothing');
}

describe('one night, three ways', () => {
  let ways: Record<'command line' | 'noble' | 'page', Findings>;

  beforeAll(async () => {
    const [commandLine, noble, page] = await Promise.all([
      throughCommandLine(),
      throughNoble(),
      throughPage(),
    ]);
    ways = { 'command line': commandLine, noble, page };
  }, 180_000);
  afterAll(() => rmSync(data, { recursive: true, force: true }));

  /** The figure on each way, with the uncertainty that goes with it. */
  function figures(of: (f: Findings) => { value: number; expandedUncertainty: number } | null | undefined) {
    return Object.entries(ways).map(([way, findings]) => {
      const figure = of(findings);
      if (!figure) throw new Error(`no figure through the ${way}`);
      return { way, ...figure };
    });
  }

  function agree(all: { way: string; value: number; expandedUncertainty: number }[], least: number): void {
    for (const a of all) {
      for (const b of all) {
        const together = Math.hypot(a.expandedUncertainty, b.expandedUncertainty);
        expect(Math.abs(a.value - b.value), `${a.way} and ${b.way}`).toBeLessThanOrEqual(
          Math.max(2 * together, least),
        );
      }
    }
  }

  it('says the same in words', () => {
    for (const findings of Object.values(ways)) {
      expect(findings.sleep.state).toBe('slept');
      expect(findings.sleep.steps).toHaveLength(3);
      expect(findings.polling.state).toBe('resolved');
      expect(findings.polling.regimes).toHaveLength(1);
      expect(findings.wakeUps).toHaveLength(1);
    }
  });

  it('raises the same flags', () => {
    const flags = Object.values(ways).map((f) => f.flags.map((flag) => flag.code).sort());
    expect(flags[1]).toEqual(flags[0]);
    expect(flags[2]).toEqual(flags[0]);
  });

  it('measures the same settled baseline, period and charge of a pulse', () => {
    agree(
      figures((f) => f.sleep.settledBaselineA),
      0.0005,
    );
    agree(
      figures((f) => f.polling.regimes[0]?.periodS),
      0,
    );
    agree(
      figures((f) => f.polling.regimes[0]?.chargePerPulseC),
      0.0005,
    );
  });

  it('sees the same steps, and the same wake-up as long after them', () => {
    const [first, ...others] = Object.values(ways);
    for (const f of others) {
      f.sleep.steps.forEach((step, i) => {
        expect(step.fromA).toBeCloseTo(first!.sleep.steps[i]!.fromA, 1);
        expect(step.toA).toBeCloseTo(first!.sleep.steps[i]!.toA, 1);
      });
      const delayS = (x: Findings): number => x.wakeUps[0]!.startS - x.sleep.timeToSleepS!;
      expect(Math.abs(delayS(f) - delayS(first!))).toBeLessThan(0.5);
      expect(f.wakeUps[0]!.chargeC / first!.wakeUps[0]!.chargeC).toBeCloseTo(1, 1);
    }
  });

  it('gives, sample for sample, the same findings from the store and from its CSV', async () => {
    const recordings = await nightdraw([
      'record',
      '--virtual',
      '--scenario',
      'short-night',
      '--speed',
      '0',
      '--json',
    ]);
    const { id } = JSON.parse(recordings) as Recording;
    const file = path.join(data, 'night.csv');
    await nightdraw(['export', id, '-o', file]);
    const again = (await nightdraw(['import', file])).trim();
    const { recording: _a, ...fromStore } = await findingsOf(id);
    const { recording: _b, ...fromCsv } = await findingsOf(again);
    expect(fromCsv).toEqual(fromStore);
  });
});
