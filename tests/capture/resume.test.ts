import { spawn } from 'node:child_process';
import { readFileSync, rmSync, writeFileSync } from 'node:fs';
import { once } from 'node:events';
import path from 'node:path';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import type { Clock } from '../../drivers/core/clock.ts';
import { fileClaims } from '../../server/capture/claims.ts';
import { elapsedMs } from '../../server/capture/resume.ts';
import type { Meter } from '../../server/messages/meters.ts';
import type { Recording, RecordingEvent } from '../../server/messages/records.ts';
import { FakeMeter } from '../helpers/fakeMeter.ts';
import { createBench, temporaryFolder, type Bench } from '../helpers/hubBench.ts';
import { ManualClock } from '../helpers/manualClock.ts';

const PAGE_METER: Meter = {
  key: 'page:abc',
  source: 'page',
  name: 'Page clamp',
  driver: 'Test',
  state: 'connected',
  rssi: null,
  channels: [{ key: '2aee.0', quantity: 'current', label: 'Current', apertureMs: null }],
  sentence: '',
};

/** A process that starts later: the same wall clock, a monotonic clock of its own. */
class LaterClock extends ManualClock {
  constructor(private readonly utcAtStart: number) {
    super();
  }

  override utcMs(): number {
    return this.utcAtStart + this.nowMs();
  }
}

describe('a server that starts after a crash', () => {
  let before: ManualClock;
  let meter: FakeMeter;
  let crashed: Bench;
  let after: Bench | null = null;

  beforeEach(() => {
    before = new ManualClock();
    meter = new FakeMeter('one');
    crashed = createBench({ clock: before, meters: [meter] });
  });

  afterEach(async () => {
    await after?.hub.close();
    after?.store.close();
    after = null;
    await crashed.close();
  });

  async function recordThenCrash(): Promise<Recording> {
    const { hub } = crashed;
    hub.connect('server:one');
    hub.pages.announce('socket', [PAGE_METER]);
    await before.advance(5000);
    const { id } = hub.startRecording({
      caseId: null,
      kind: 'overnight-test',
      title: 'Night',
      zone: null,
      meters: ['server:one', PAGE_METER.key],
    });
    for (let i = 1; i <= 50; i++) {
      await before.advance(100);
      meter.sendVoltage(800);
      if (i <= 20) meter.sendCurrent(3);
    }
    // The write of the last quarter second is due; then the process is gone, and with it its meter.
    await before.advance(250);
    meter.drop();
    return crashed.store.getRecording(id);
  }

  function start(clock: Clock): Bench {
    after = crashed.restart(clock);
    after.hub.resume();
    return after;
  }

  it('goes on with the recording, its meters and its time axis, and says how long it was away', async () => {
    const { id, channels, durationMs } = await recordThenCrash();
    expect(durationMs).toBe(5000);
    const clock = new LaterClock(before.utcMs() + 600_000);
    const { hub, store } = start(clock);
    await clock.advance(2000);
    meter.sendVoltage(801);
    await clock.advance(500);
    meter.sendCurrent(4);
    hub.stopRecording(id);

    const [voltage, current, page] = channels.map((c) => c.id);
    // 5.25 s had passed before the crash, 600 s while it was away.
    expect(store.listEvents(id).map((e) => [e.kind, e.atMs])).toEqual([
      ['started', 0],
      ['server-restarted', 605_250],
      ['meter-connected', 605_250],
      ['stopped', 607_750],
    ]);
    expect(store.listEvents(id)[1]!.text).toBe('The server was away for 10 min.');
    expect(store.readSamples(voltage!).t.at(-1)).toBe(607_250);
    expect(store.listGaps(id)).toEqual([
      { channelId: current, startMs: 2000, endMs: 607_750, reason: 'server-down' },
      { channelId: voltage, startMs: 5000, endMs: 607_250, reason: 'server-down' },
    ]);
    expect(store.readSamples(page!).length).toBe(0);
    expect(store.getRecording(id)).toMatchObject({ state: 'stopped', durationMs: 607_750 });
  });

  it('takes the batches that a page kept meanwhile, where the numbers went on', async () => {
    const { id } = await recordThenCrash();
    const clock = new LaterClock(before.utcMs() + 60_000);
    const { hub, store } = start(clock);
    const send = (number: number, t: number) =>
      hub.pages.batch('socket-2', {
        recordingId: id,
        meterKey: PAGE_METER.key,
        number,
        parts: [{ key: '2aee.0', samples: { t: [t], counts: [number], scale: [-2], flags: [0] } }],
        gaps: [],
        events: [],
      });
    expect(send(1, 20_000)).toEqual({ ok: true, upTo: 1 });
    expect(send(2, 40_000)).toEqual({ ok: true, upTo: 2 });
    hub.stopRecording(id);
    const channel = store.getRecording(id).channels.find((c) => c.meterKey === PAGE_METER.key)!;
    expect([...store.readSamples(channel.id).t]).toEqual([20_000, 40_000]);
    expect(store.listGaps(id).filter((g) => g.channelId === channel.id)).toEqual([]);
  });

  it('ends the absence of a meter that never comes back when the recording is stopped', async () => {
    const { id, channels } = await recordThenCrash();
    meter.near = false;
    const clock = new LaterClock(before.utcMs() + 60_000);
    const { hub, store } = start(clock);
    await clock.advance(30_000);
    hub.stopRecording(id);
    expect(store.listGaps(id)).toContainEqual({
      channelId: channels[0]!.id,
      startMs: 5000,
      endMs: 95_250,
      reason: 'server-down',
    });
  });

  it('can crash again: the gap then covers both absences', async () => {
    const { id, channels } = await recordThenCrash();
    meter.near = false;
    const second = new LaterClock(before.utcMs() + 60_000);
    const between = start(second);
    await second.advance(10_000);
    meter.near = true;
    const third = new LaterClock(second.utcMs() + 60_000);
    const last = between.restart(third);
    last.hub.resume();
    await third.advance(100);
    meter.sendVoltage(800);
    last.hub.stopRecording(id);
    const gaps = last.store.listGaps(id).filter((g) => g.channelId === channels[0]!.id);
    expect(gaps).toEqual([
      { channelId: channels[0]!.id, startMs: 5000, endMs: 135_350, reason: 'server-down' },
    ]);
    expect(last.store.listEvents(id).filter((e) => e.kind === 'server-restarted')).toHaveLength(2);
    await last.hub.close();
    last.store.close();
  });

  it('leaves alone what another process is recording', async () => {
    const { id } = await recordThenCrash();
    const claims = { take: () => {}, drop: () => {}, isElsewhere: (r: string) => r === id };
    after = createBench({ clock: before, hub: { claims } }, crashed.folder);
    after.hub.resume();
    expect(after.hub.runningRecordings()).toEqual([]);
    expect(after.store.listEvents(id).map((e) => e.kind)).not.toContain('server-restarted');
  });
});

describe('the time that has passed in a recording', () => {
  const recording = { startedAt: '2024-11-05T20:00:00.000Z', durationMs: 10_000 } as Recording;
  const at = Date.parse('2024-11-05T20:00:00.000Z');
  const step = (value: number): RecordingEvent => ({ atMs: 5000, kind: 'clock-step', text: '', value });

  it('is told by the wall clock, less its known steps', () => {
    expect(elapsedMs(recording, [], at + 60_000)).toBe(60_000);
    expect(elapsedMs(recording, [step(-3600_000)], at + 60_000 - 3600_000)).toBe(60_000);
    expect(elapsedMs(recording, [step(3600_000), step(-1000)], at + 3_660_000)).toBe(61_000);
  });

  it('never lies before what is recorded', () => {
    expect(elapsedMs(recording, [], at - 5000)).toBe(10_000);
    expect(elapsedMs(recording, [{ ...step(0), atMs: 12_000 }], at)).toBe(12_000);
  });
});

describe('claims on a running recording', () => {
  let folder: string;
  beforeEach(() => {
    folder = temporaryFolder();
  });
  afterEach(() => rmSync(folder, { recursive: true, force: true }));

  it('hold for a process that lives, and not for oneself, a dead one, or one that took its number', async () => {
    const claims = fileClaims(folder);
    const file = path.join(folder, 'abcd1234.lock');
    expect(claims.isElsewhere('abcd1234')).toBe(false);
    claims.take('abcd1234');
    expect(claims.isElsewhere('abcd1234')).toBe(false);

    const script = `
      const { readFileSync, writeFileSync } = require('node:fs');
      const stat = readFileSync('/proc/self/stat', 'utf8');
      const start = stat.slice(stat.lastIndexOf(')') + 2).split(' ')[19];
      writeFileSync(process.argv[1], process.pid + ' ' + start);
      console.log('ready');
      setInterval(() => {}, 1000);`;
    const other = spawn(process.execPath, ['-e', script, file], { stdio: ['ignore', 'pipe', 'inherit'] });
    await once(other.stdout, 'data');
    expect(claims.isElsewhere('abcd1234')).toBe(true);
    const claim = readFileSync(file, 'utf8');
    writeFileSync(file, `${other.pid} 1`);
    expect(claims.isElsewhere('abcd1234')).toBe(false);
    writeFileSync(file, claim);
    other.kill('SIGKILL');
    await once(other, 'exit');
    expect(claims.isElsewhere('abcd1234')).toBe(false);
    // As written where the system does not tell when a process started.
    writeFileSync(file, `${other.pid}`);
    expect(claims.isElsewhere('abcd1234')).toBe(false);
    claims.drop('abcd1234');
    writeFileSync(file, 'nonsense');
    expect(claims.isElsewhere('abcd1234')).toBe(false);
  });
});
