import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { caseAttemptsSchema, type CaseAttempts } from '../../server/messages/attempts.ts';
import { caseSchema, type AttemptOutcome, type Case, type Recording } from '../../server/messages/records.ts';
import { columnsOf } from '../../server/samples/columns.ts';
import { CASE, CHANNEL, NIGHT } from '../contract/store.ts';
import { ok, refused } from '../helpers/answers.ts';
import { ManualClock } from '../helpers/manualClock.ts';
import { createWebBench, type WebBench } from '../helpers/webBench.ts';

let bench: WebBench;
let clock: ManualClock;

beforeEach(async () => {
  clock = new ManualClock();
  bench = await createWebBench({ clock, meters: [] });
});
afterEach(() => bench.close());

const attemptsOf = async (path: string): Promise<CaseAttempts> =>
  caseAttemptsSchema.parse(await ok(bench.ask(`/api/${path}/attempts`)));

describe('a try at the handle of the virtual car', () => {
  it('is kept with its outcome, when it was tapped, and its dip', async () => {
    const { id: caseId } = await ok<Case>(bench.ask('/api/cases', { body: { title: 'Car' } }), 201);
    await ok(bench.ask('/api/virtual-car', { body: { action: 'start' } }));
    await clock.advance(100);
    const meters = ['virtual:clamp', 'virtual:voltmeter'];
    const body = { kind: 'live-watch', title: 'Watch', caseId, meters };
    const { id } = await ok<Recording>(bench.ask('/api/recordings', { body }), 201);
    await clock.advance(20_000);
    await ok(bench.ask('/api/virtual-car', { body: { action: 'touch-handle' } }));
    await clock.advance(2000);
    const tapped = clock.nowMs();
    await clock.advance(1500); // the message took its time
    const said = { kind: 'attempt', text: 'Opened.', outcome: 'opened', nowMs: tapped };
    const event = await ok(bench.ask(`/api/recordings/${id}/events`, { body: said }), 201);
    expect(event).toMatchObject({ atMs: tapped - 100, outcome: 'opened' });
    await clock.advance(30_000);

    const { attempts, threshold, measured } = await attemptsOf(`cases/${caseId}`);
    expect(measured).toBeNull();
    expect(attempts).toHaveLength(1);
    const { dip, outcome, recordingId } = attempts[0]!;
    expect([outcome, recordingId]).toEqual(['opened', id]);
    expect(dip!.depthV!.value).toBeGreaterThan(0.03);
    expect(dip!.restV!.value - dip!.depthV!.value).toBeCloseTo(dip!.lowestV!, 6);
    expect(dip!.peakA!.value).toBeGreaterThan(1);
    expect(threshold).toMatchObject({ method: 'none', tries: 1, worked: 1 });
    expect(await attemptsOf(`recordings/${id}`)).toEqual(await attemptsOf(`cases/${caseId}`));
  });

  it('cannot be marked before the recording, nor in the future', async () => {
    await ok(bench.ask('/api/virtual-car', { body: { action: 'start' } }));
    await clock.advance(1000);
    const body = { kind: 'live-watch', title: 'Watch', meters: ['virtual:voltmeter'] };
    const { id } = await ok<Recording>(bench.ask('/api/recordings', { body }), 201);
    await clock.advance(500);
    const at = async (nowMs: number) =>
      (await ok<{ atMs: number }>(bench.ask(`/api/recordings/${id}/events`, { body: { kind: 'attempt', text: '', nowMs } }), 201)).atMs; // prettier-ignore
    expect(await at(-5e9)).toBe(0);
    expect(await at(5e9)).toBe(500);
  });

  it('needs one of the four outcomes', async () => {
    const body = { kind: 'attempt', text: '', outcome: 'exploded' };
    expect(await refused(bench, '/api/recordings/abcd1234/events', { body })).toEqual([400, 'bad-request']);
  });
});

describe("a car's own threshold", () => {
  /** Recordings whose voltage stands still at one level a try. */
  function caseWith(tries: readonly (readonly [number, AttemptOutcome | null])[]): string {
    const { store } = bench;
    const theCase = store.createCase(CASE);

    tries.forEach(([volts, outcome], i) => {
      const { id, channels } = store.createRecording({
        ...NIGHT,
        caseId: theCase.id,
        startedAt: new Date(Date.UTC(2026, 0, 5, 9 + i)).toISOString(),
        channels: [{ ...CHANNEL, quantity: 'voltage', label: 'Voltage' }],
      });
      const t = Array.from({ length: 300 }, (_, k) => k * 100);
      const counts = t.map((_, k) => Math.round(volts * 1000) + (k % 3));
      const columns = columnsOf(t, counts, counts.map(() => -3), counts.map(() => 0)); // prettier-ignore
      const event = {
        atMs: 20_000,
        kind: 'attempt',
        text: '',
        value: null,
        ...(outcome !== null && { outcome }),
      } as const;
      store.commit({
        recordingId: id,
        samples: [{ channelId: channels[0]!.id, columns }],
        gaps: [],
        events: [event],
        batch: null,
      });
      store.stopRecording(id, 30_000);
    });
    return theCase.id;
  }

  it('is estimated over all recordings of the case, taken over, used in its findings, and given back', async () => {
    const id = caseWith([
      [12.3, 'opened'], [11.4, 'button-only'], [12.1, 'locked-by-touch'], [11.2, 'nothing'], [12.0, 'opened'],
      [11.5, 'button-only'], [12.2, 'opened'], [11.3, 'button-only'], [11.9, null],
    ]); // prettier-ignore
    const { attempts, threshold } = await attemptsOf(`cases/${id}`);
    expect(attempts.map((a) => a.dip!.restV!.value.toFixed(1)).join(' ')).toBe(
      '12.3 11.4 12.1 11.2 12.0 11.5 12.2 11.3 11.9',
    );
    expect(threshold).toMatchObject({ method: 'bracket', tries: 8, worked: 4 });
    expect(threshold.bracketV.map((v) => v!.toFixed(2))).toEqual(['11.50', '12.00']);

    const taken = caseSchema.parse(
      await ok(bench.ask(`/api/cases/${id}/threshold`, { method: 'PUT', body: { take: true } })),
    );
    expect(taken.measuredThreshold).toMatchObject({ tries: 8, method: 'bracket' });
    expect(taken.measuredThreshold!.thresholdV).toBeCloseTo(threshold.thresholdV!.value, 12);
    expect((await attemptsOf(`cases/${id}`)).measured).toEqual(taken.measuredThreshold);
    const findings = `/api/recordings/${attempts[0]!.recordingId}/findings`;
    const battery = async () => (await ok<{ battery: unknown }>(bench.ask(findings))).battery;
    expect(await battery()).toMatchObject({
      thresholdV: taken.measuredThreshold!.thresholdV,
      thresholdFrom: 'measured-on-this-car',
    });
    await ok(bench.ask(`/api/cases/${id}/threshold`, { method: 'PUT', body: { take: false } }));
    expect(await battery()).toMatchObject({ thresholdFrom: 'default' });
  });

  it('is refused where the tries carry none', async () => {
    const id = caseWith([[12.3, 'opened'], [11.4, 'button-only']]); // prettier-ignore
    const path = `/api/cases/${id}/threshold`;
    expect(await refused(bench, path, { method: 'PUT', body: { take: true } })).toEqual([409, 'conflict']);
    expect(
      await refused(bench, '/api/cases/nosuchcase/threshold', { method: 'PUT', body: { take: true } }),
    ).toEqual([404, 'not-found']);
    expect(await refused(bench, path, { method: 'PUT', body: {} })).toEqual([400, 'bad-request']);
  });
});
