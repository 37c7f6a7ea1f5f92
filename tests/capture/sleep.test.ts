import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { sleepText, watchClock, type ClockStep, type Sleep } from '../../server/capture/clockSteps.ts';
import { OpenRecording } from '../../server/capture/openRecording.ts';
import { Recorder } from '../../server/capture/recorder.ts';
import type { Recording } from '../../server/messages/records.ts';
import { FakeMeter } from '../helpers/fakeMeter.ts';
import { createBench, type Bench } from '../helpers/hubBench.ts';
import { ManualClock } from '../helpers/manualClock.ts';

/** A computer whose monotonic clock stands still while it sleeps. */
class Laptop extends ManualClock {
  suspended = 0;
  sleep(ms: number): void {
    this.suspended += ms;
    this.stepWallClock(ms);
  }
}

const RECORDING: Recording = {
  id: 'abcd1234',
  caseId: null,
  kind: 'overnight-test',
  title: 'Night',
  state: 'recording',
  startedAt: null,
  zone: null,
  durationMs: 0,
  provenance: '',
  channels: [],
};

const HOUR = 3_600_000;
let clock: Laptop;
beforeEach(() => (clock = new Laptop()));

describe('a computer that sleeps', () => {
  it('is told from one whose clock is set', async () => {
    const steps: ClockStep[] = [];
    const sleeps: Sleep[] = [];
    const stop = watchClock(clock, (s) => steps.push(s), {
      onSleep: (s) => sleeps.push(s),
      suspendedMs: () => clock.suspended,
    });
    await clock.advance(5500);
    clock.sleep(3 * HOUR);
    await clock.advance(5000);
    expect([sleeps, steps]).toEqual([[{ atMs: 6000, beforeMs: 5000, missedMs: 3 * HOUR }], []]);
    clock.stepWallClock(HOUR);
    await clock.advance(5000);
    expect([sleeps.length, steps]).toEqual([1, [{ atMs: 11_000, stepMs: HOUR }]]);
    // Woken, and put right by a time service in the same second.
    clock.sleep(HOUR);
    clock.stepWallClock(-400);
    await clock.advance(2000);
    expect([sleeps.length, steps[1]]).toEqual([2, { atMs: 16_000, stepMs: -400 }]);
    stop();
  });

  it('is known by its late timer where the clock goes on in sleep', async () => {
    const sleeps: Sleep[] = [];
    let run: (() => void) | null = null;
    let now = 0;
    const late = {
      nowMs: () => now,
      utcMs: () => now,
      after: (_ms: number, f: () => void) => {
        run = f;
        return () => undefined;
      },
    };
    watchClock(late, () => undefined, { onSleep: (s) => sleeps.push(s) });
    const tick = (ms: number): void => {
      now += ms;
      run!();
    };
    tick(1000);
    tick(9000); // a busy moment
    tick(2 * HOUR);
    expect(sleeps).toEqual([{ atMs: 2 * HOUR + 10_000, beforeMs: 10_000, missedMs: 0 }]);
    expect(sleepText(sleeps[0]!)).toBe(
      'The computer slept or stood still for 2 h; nothing was recorded meanwhile.',
    );
  });
});

describe('a recording on it', () => {
  let bench: Bench;
  const meter = new FakeMeter('one');
  beforeEach(() => {
    bench = createBench({ clock, meters: [meter], hub: { suspendedMs: () => clock.suspended } });
  });
  afterEach(() => bench.close());

  it('goes on behind a gap as long as the sleep, and its times stay those of the wall', async () => {
    const { hub, store } = bench;
    const key = 'server:one';
    hub.connect(key);
    await clock.advance(200);
    const { id, startedAt, channels } = hub.startRecording({
      caseId: null, kind: 'overnight-test', title: 'Night', zone: null, meters: [key],
    }); // prettier-ignore
    await clock.advance(10_000);
    meter.sendVoltage(800);
    await clock.advance(500);
    clock.sleep(3 * HOUR);
    meter.near = false;
    meter.drop();
    await clock.advance(2000);
    meter.near = true;
    await clock.advance(20_000);
    meter.sendVoltage(790);
    const toldUtc = clock.utcMs();
    await clock.advance(1000);
    hub.stopRecording(id);

    const voltage = channels.find((c) => c.quantity === 'voltage')!.id;
    const { t } = store.readSamples(voltage);
    expect(t[0]).toBe(10_000);
    expect(Date.parse(startedAt!) + t[t.length - 1]!).toBeCloseTo(toldUtc, 3);
    const [gap, ...more] = store.listGaps(id).filter((g) => g.channelId === voltage);
    expect(more).toEqual([]);
    expect(gap).toMatchObject({ startMs: 10_000, reason: 'computer-slept' });
    expect(gap!.endMs - gap!.startMs).toBeGreaterThan(3 * HOUR);
    const events = store.listEvents(id);
    expect(events.map((e) => e.kind)).not.toContain('clock-step');
    expect(events.find((e) => e.kind === 'note')!.text).toMatch(/^The computer slept or stood still for 3 h/);
    expect(store.getRecording(id).durationMs).toBeGreaterThan(3 * HOUR + 30_000);
  });

  it('leaves what came before the sleep in its place', () => {
    const at = 5000;
    const recorder = new Recorder({ store: bench.store, clock, recordingId: RECORDING.id, startNowMs: 1000 });
    const open = new OpenRecording(RECORDING, 1000, recorder);
    open.sleep({ atMs: at, beforeMs: 4000, missedMs: HOUR });
    expect([open.timeOf(3000), open.timeOf(at), open.startNowMs]).toEqual([2000, 4000 + HOUR, 1000 - HOUR]);
  });

  it('places what a page sends by the start as it then holds', async () => {
    const { hub } = bench;
    hub.connect('server:one');
    await clock.advance(200);
    hub.startRecording({
      caseId: null,
      kind: 'overnight-test',
      title: 'Night',
      zone: null,
      meters: ['server:one'],
    });
    const [before] = hub.runningRecordings();
    clock.sleep(HOUR);
    await clock.advance(2000);
    const [after] = hub.runningRecordings();
    expect(before!.startNowMs! - after!.startNowMs!).toBe(HOUR);
  });
});
