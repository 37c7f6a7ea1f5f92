import { fork } from 'node:child_process';
import { once } from 'node:events';
import { fileURLToPath } from 'node:url';
import { describe, expect, test } from 'vitest';
import { createAbort } from '../../drivers/core/abort.ts';
import type { SeenMeter } from '../../drivers/core/link.ts';
import { bundleForNode } from '../helpers/bundle.ts';
import { bench, droppedWith, failure, meter, pause, STREAM, until, VALUE } from './fixture.ts';
import { startRig } from './rig.ts';

const BUILT_CHILD = fileURLToPath(new URL('../../.build/server/child.js', import.meta.url));

describe('a radio process that hangs or dies', () => {
  test('hangs: it is replaced, its connections end as "link-died", and the scan goes on', async () => {
    const b = await bench([meter('a')]);
    const seen: SeenMeter[] = [];
    const { signal, abort } = createAbort();
    const finding = b.link.find({ services: [], signal, onSeen: (m) => seen.push(m) });
    const connection = await b.connect('a');
    const dropped = droppedWith(connection);
    const pid = b.rig.programPid();
    const fromMs = performance.now();
    b.rig.hangProgram();
    const reading = failure(connection.read(VALUE));
    expect(await dropped).toBe('link-died');
    expect(['link-died', 'timed-out']).toContain(await reading);
    expect(await failure(connection.read(VALUE))).toBe('link-died');
    const again = await b.connect('a');
    const replacedMs = performance.now() - fromMs;
    expect(b.rig.programPid()).not.toBe(pid);
    expect(await again.read(VALUE)).toEqual(Uint8Array.of(7));
    expect(replacedMs).toBeGreaterThan(1400);
    expect(replacedMs).toBeLessThan(6000);
    console.log(
      `hung process replaced and meter connected after ${replacedMs.toFixed(0)} ms (limit 1500 ms)`,
    );
    const from = seen.length;
    await again.close();
    await until(() => seen.length > from);
    abort();
    await finding;
    expect(b.statuses.map((s) => s.state)).toEqual(['ready', 'starting', 'ready']);
  });

  test('dies: the same, at once', async () => {
    const b = await bench([meter('a')]);
    const connection = await b.connect('a');
    const dropped = droppedWith(connection);
    const fromMs = performance.now();
    b.rig.crashProgram();
    expect(await dropped).toBe('link-died');
    const again = await b.connect('a');
    expect(performance.now() - fromMs).toBeLessThan(5000);
    expect(await again.read(VALUE)).toEqual(Uint8Array.of(7));
    const got: number[] = [];
    await again.subscribe(STREAM, (bytes) => got.push(bytes[0]!));
    b.rig.peripheral('a').notify(STREAM, Uint8Array.of(5));
    await until(() => got.length > 0);
    expect(got).toEqual([5]);
  });

  test('dies over and over: it is tried again with growing pauses, and that is said', async () => {
    const b = await bench([meter('a')]);
    const pids = new Set<number>();
    for (let i = 0; i < 3; i++) {
      await until(() => {
        b.link.start();
        return b.link.status().state === 'ready' && b.rig.programPid() !== null;
      });
      pids.add(b.rig.programPid()!);
      b.rig.crashProgram();
      await until(() => b.link.status().state !== 'ready');
    }
    expect(pids.size).toBe(3);
    expect(b.link.status()).toMatchObject({ state: 'unavailable', reason: 'not-answering' });
    await until(() => b.link.status().state === 'ready'); // by itself
  });

  test('cannot even be started: a sentence with its last words', async () => {
    const b = await bench([], { childExecArgv: ['--require', '/nonexistent/preload.cjs'] });
    expect(await failure(b.scan(() => true))).toBe('link-died');
    expect(b.link.status().reason).toBe('not-answering');
    expect(b.link.status().sentence).toMatch(/adapter does not answer.*\(.+\)/);
  });
});

describe('a connect that blocks the radio process', () => {
  test('for a while: it is waited for, and the meter that streams meanwhile loses nothing', async () => {
    const b = await bench([meter('a'), meter('b')]);
    const streaming = await b.connect('a');
    const got: number[] = [];
    await streaming.subscribe(STREAM, (bytes) => got.push(bytes[0]!));
    const pid = b.rig.programPid();
    b.rig.set({ connectBlocksMs: 2200 }); // longer than a silence that is allowed otherwise
    const connecting = b.connect('b');
    for (let i = 0; i < 40; i++) {
      b.rig.peripheral('a').notify(STREAM, Uint8Array.of(i));
      await pause(50);
    }
    expect(await (await connecting).read(VALUE)).toEqual(Uint8Array.of(7));
    expect(b.rig.programPid()).toBe(pid);
    await until(() => got.length === 40);
    expect(got).toEqual(Array.from({ length: 40 }, (_, i) => i));
  });

  test('for good: the caller is told in time, and the process is replaced', async () => {
    const b = await bench([meter('a')]);
    b.rig.set({ connectBlocksMs: 60_000 });
    const fromMs = performance.now();
    expect(await failure(b.connect('a', 1200))).toBe('timed-out');
    expect(performance.now() - fromMs).toBeLessThan(2500);
    b.rig.set({ connectBlocksMs: 0 });
    // Nobody waits for that connect and nothing else would be lost: the short patience holds, and a new
    // connect behind it does not lengthen it.
    expect(await failure(b.connect('a'))).toBe('link-died');
    expect(performance.now() - fromMs).toBeLessThan(4000);
    const connection = await b.connect('a');
    expect(await connection.read(VALUE)).toEqual(Uint8Array.of(7));
  });

  test('for good, while another meter streams: that one is kept as long as can be', async () => {
    const b = await bench([meter('a'), meter('b')]);
    const streaming = await b.connect('a');
    const dropped = droppedWith(streaming);
    b.rig.set({ connectBlocksMs: 60_000 });
    const fromMs = performance.now();
    expect(await failure(b.connect('b', 500))).toBe('timed-out');
    expect(await dropped).toBe('link-died');
    expect(performance.now() - fromMs).toBeGreaterThan(4000);
    b.rig.set({ connectBlocksMs: 0 });
    expect(await (await b.connect('a')).read(VALUE)).toEqual(Uint8Array.of(7));
  });
});

describe('how the radio process ends', () => {
  test('not by Ctrl-C, which a terminal sends to every process', async () => {
    const b = await bench([meter('a')]);
    const connection = await b.connect('a');
    const pid = b.rig.programPid()!;
    for (let i = 0; i < 3; i++) {
      process.kill(pid, 'SIGINT');
      await pause(50);
    }
    expect(await connection.read(VALUE)).toEqual(Uint8Array.of(7));
    expect(b.rig.programPid()).toBe(pid);
  });

  test('by close, which disconnects the meters first', async () => {
    const b = await bench([meter('a')]);
    const connection = await b.connect('a');
    const dropped = droppedWith(connection);
    const pid = b.rig.programPid()!;
    await b.link.close();
    expect(await dropped).toBe('Bluetooth was closed.');
    expect(b.rig.peripheral('a').isConnected).toBe(false);
    expect(isRunning(pid)).toBe(false);
    expect(await failure(b.connect('a'))).toBe('aborted');
    expect(await failure(b.scan(() => true))).toBe('aborted');
  });

  test('by itself when its parent is gone, killed as it may be', async () => {
    const rig = await startRig({ peripherals: [{ peer: meter('a') }] });
    const program = await bundleForNode('tests/bluetooth/parentProcess.ts');
    const parent = fork(program.file, [BUILT_CHILD], {
      env: { ...process.env, ...rig.env },
      execArgv: [],
      silent: true,
    });
    await once(parent, 'message');
    await until(() => rig.programPid() !== null);
    const pid = rig.programPid()!;
    expect(isRunning(pid)).toBe(true);
    parent.kill('SIGKILL');
    await until(() => !isRunning(pid), 3000);
    await rig.close();
    program.remove();
  });
});

function isRunning(pid: number): boolean {
  try {
    return process.kill(pid, 0);
  } catch {
    return false;
  }
}
