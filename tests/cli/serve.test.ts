import { spawn, type ChildProcess } from 'node:child_process';
import { once } from 'node:events';
import { rmSync } from 'node:fs';
import { createServer, request as httpRequest } from 'node:http';
import { connect } from 'node:net';
import path from 'node:path';
import { setTimeout as wait } from 'node:timers/promises';
import { afterAll, afterEach, beforeAll, beforeEach, describe, expect, it } from 'vitest';
import type { RecordingDetail } from '../../server/messages/http.ts';
import type { Case, Recording } from '../../server/messages/records.ts';
import { openStore } from '../../server/store/openStore.ts';
import { bundleForNode } from '../helpers/bundle.ts';
import { get, post, until } from '../helpers/http.ts';
import { temporaryFolder } from '../helpers/hubBench.ts';
import { runCommand, startCommand, type Running } from '../helpers/runCommand.ts';

const ADDRESS = /^Nightdraw is at (http:\/\/127\.0\.0\.1:(\d+))\/\n$/;

let data: string;
const started: Running[] = [];

beforeEach(() => {
  data = temporaryFolder();
});
afterEach(async () => {
  for (const running of started.splice(0)) {
    running.interrupt();
    await running.done;
  }
  rmSync(data, { recursive: true, force: true });
});

async function serve(...more: string[]): Promise<{ running: Running; url: string; port: number }> {
  const running = startCommand(['serve', '--data', data, ...more]);
  started.push(running);
  const [, url, port] = await until(() => ADDRESS.exec(running.stdout()));
  return { running, url: url!, port: Number(port) };
}

/** Starts the virtual car and a recording of both its meters. */
async function recordCar(url: string): Promise<Recording> {
  await post(`${url}/api/virtual-car`, { action: 'start' });
  const meters = ['virtual:clamp', 'virtual:voltmeter'];
  await until(async () => {
    const list = await get<{ state: string }[]>(`${url}/api/meters`);
    return list.length === 2 && list.every((m) => m.state === 'connected');
  });
  return post(`${url}/api/recordings`, { kind: 'overnight-test', title: 'Night', meters });
}

const detailOf = (url: string, id: string) => get<RecordingDetail>(`${url}/api/recordings/${id}`);

describe('nightdraw serve', { timeout: 60_000 }, () => {
  it('prints its address and nothing else, brings the demo nights once, and ends cleanly', async () => {
    const first = await serve('--port', '0');
    const cases = await until(async () => {
      const list = await get<Case[]>(`${first.url}/api/cases`);
      return list.length > 0 ? list : null;
    });
    expect(cases.every((c) => c.demo && c.recordings === 1)).toBe(true);
    first.running.interrupt();
    expect(await first.running.done).toMatchObject({ code: 0, stderr: '' });

    await fetch(first.url).then(
      () => expect.fail('It still answers.'),
      () => undefined,
    );
    const store = openStore(path.join(data, 'nightdraw.db'));
    store.deleteCase(cases[0]!.id);
    store.close();
    const second = await serve('--port', '0');
    await wait(300);
    expect(await get<Case[]>(`${second.url}/api/cases`)).toHaveLength(cases.length - 1);
  });

  it('is heard on this computer only', async () => {
    const { port } = await serve('--port', '0');
    const refused = await new Promise((resolve) => {
      // All of 127.0.0.0/8 is this computer (RFC 1122, 3.2.1.3), but not the address that it listens on.
      const socket = connect(port, '127.0.0.2', () => resolve('connected'));
      socket.on('error', (error: NodeJS.ErrnoException) => resolve(error.code));
    });
    expect(refused).toBe('ECONNREFUSED');
  });

  it('is heard on other addresses with --lan, says what that means, and checks Host for each', async () => {
    const { running, port } = await serve('--port', '0', '--lan');
    expect(running.stderr()).toContain('Everyone on this network can see and change the recordings');
    const status = (host: string) =>
      new Promise((resolve, reject) => {
        const options = { host: '127.0.0.2', port, path: '/api/status', headers: { host } };
        const request = httpRequest(options, (response) => {
          response.resume();
          resolve(response.statusCode);
        });
        request.on('error', reject).end();
      });
    expect(await status(`127.0.0.2:${port}`)).toBe(200);
    expect(await status(`127.0.0.1:${port}`)).toBe(403);
    expect(await status(`rebound.example:${port}`)).toBe(403);
  });

  it('takes another port when its own is in use, but never another than it was told', async () => {
    const other = createServer().listen(4280, '127.0.0.1');
    // Where something else has the port already, it is in use all the same.
    await new Promise((resolve) => other.on('listening', resolve).on('error', resolve));
    const { running, port } = await serve();
    expect(port).not.toBe(4280);
    expect(running.stderr()).toContain('Port 4280 is in use');
    other.close();

    const told = await runCommand(['serve', '--data', data, '--port', String(port)]);
    expect(told).toMatchObject({ code: 2, stdout: '' });
    expect(told.stderr).toMatch(new RegExp(`^Port ${port} is in use[^\\n]*\\n$`));
  });

  it.each([['http'], ['-1'], ['65536'], ['80.5'], ['']])('is not started on port "%s"', async (port) => {
    const { code, stdout, stderr } = await runCommand(['serve', '--data', data, `--port=${port}`]);
    expect([code, stdout]).toEqual([2, '']);
    expect(stderr).toBe('--port needs a number from 0 to 65535.\n');
  });

  it('takes no further words', async () => {
    const { code, stderr } = await runCommand(['serve', '--data', data, 'now']);
    expect([code, stderr]).toEqual([2, '"now" is not understood here.\n']);
  });

  it('makes all readings durable when it is stopped, and goes on with the recording when it is started', async () => {
    const first = await serve('--port', '0');
    const { id } = await recordCar(first.url);
    await wait(1500);
    first.running.interrupt();
    const { code, stderr } = await first.running.done;
    expect([code, stderr]).toEqual([0, expect.stringContaining('goes on when the server is started again')]);

    const second = await serve('--port', '0');
    const before = await detailOf(second.url, id);
    expect(before.recording).toMatchObject({ state: 'recording' });
    expect(before.recording.durationMs).toBeGreaterThan(1000);
    await until(async () => (await detailOf(second.url, id)).gaps.length >= 2);
    const stopped = await post<Recording>(`${second.url}/api/recordings/${id}/stop`);
    const { events, gaps } = await detailOf(second.url, id);
    expect(events.map((e) => e.kind)).toEqual(
      expect.arrayContaining(['started', 'server-restarted', 'meter-connected', 'stopped']),
    );
    expect(gaps.map((g) => g.reason)).toEqual(['server-down', 'server-down']);
    expect(gaps.every((g) => g.endMs > g.startMs && g.endMs <= stopped.durationMs)).toBe(true);
  });
});

describe('a server that is killed', { timeout: 60_000 }, () => {
  let program: Awaited<ReturnType<typeof bundleForNode>>;
  const children: ChildProcess[] = [];
  beforeAll(async () => (program = await bundleForNode('server/main.ts')));
  afterEach(() => {
    for (const child of children.splice(0)) child.kill('SIGKILL');
  });
  afterAll(() => program.remove());

  async function start(): Promise<{ child: ChildProcess; url: string }> {
    const child = spawn(process.execPath, [program.file, 'serve', '--port', '0', '--data', data]);
    children.push(child);
    let said = '';
    child.stdout.setEncoding('utf8').on('data', (text: string) => (said += text));
    const [, url] = await until(() => ADDRESS.exec(said));
    return { child, url: url! };
  }

  it('keeps every reading but those of the last moment, and goes on with the recording', async () => {
    const first = await start();
    const { id } = await recordCar(first.url);
    const samples = async (url: string) =>
      (await detailOf(url, id)).recording.channels.reduce((sum, c) => sum + c.samples, 0);
    await until(async () => (await samples(first.url)) >= 20);
    const seen = await samples(first.url);
    const exited = once(first.child, 'exit');
    first.child.kill('SIGKILL');
    expect(await exited).toEqual([null, 'SIGKILL']);

    const second = await start();
    expect(await samples(second.url)).toBeGreaterThanOrEqual(seen);
    await until(async () => (await detailOf(second.url, id)).gaps.length >= 2);
    await post(`${second.url}/api/recordings/${id}/stop`);
    const { recording, events, gaps } = await detailOf(second.url, id);
    expect(recording.state).toBe('stopped');
    expect(events.map((e) => e.kind)).toContain('server-restarted');
    expect(gaps.map((g) => g.reason)).toEqual(['server-down', 'server-down']);
    const ended = once(second.child, 'exit');
    second.child.kill('SIGTERM');
    expect(await ended).toEqual([0, null]);
  });
});
