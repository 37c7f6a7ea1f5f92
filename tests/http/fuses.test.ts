import { afterEach, beforeEach, expect, it } from 'vitest';
import { fuseWalkSchema, type FuseWalk } from '../../server/messages/fuses.ts';
import type { Case, Recording } from '../../server/messages/records.ts';
import { ok, refused } from '../helpers/answers.ts';
import { FakeMeter } from '../helpers/fakeMeter.ts';
import { ManualClock } from '../helpers/manualClock.ts';
import { createWebBench, type WebBench } from '../helpers/webBench.ts';

let bench: WebBench;
let clock: ManualClock;
let meter: FakeMeter;
let caseId: string;
let recordingId: string;

beforeEach(async () => {
  clock = new ManualClock();
  meter = new FakeMeter('one');
  bench = await createWebBench({ clock, meters: [meter] });
  ({ id: caseId } = await ok<Case>(bench.ask('/api/cases', { body: { title: 'Car' } }), 201));
  bench.hub.connect('server:one');
  await clock.advance(200);
  const body = { kind: 'live-watch', title: 'Walk', caseId, meters: ['server:one'] };
  ({ id: recordingId } = await ok<Recording>(bench.ask('/api/recordings', { body }), 201));
});
afterEach(() => bench.close());

const path = (more = '') => `/api/cases/${caseId}/fuses${more}`;
const walk = async (answer = bench.ask(path()), status = 200): Promise<FuseWalk> =>
  fuseWalkSchema.parse(await ok(answer, status));

/** The clamp shows so much, twice a second, in its steps of 10 mA. */
async function draw(seconds: number, milliamps: number): Promise<void> {
  for (let i = 0; i < 2 * seconds; i++) {
    meter.sendCurrent(Math.round(milliamps / 10));
    await clock.advance(500);
  }
}

it('a fuse by its millivolts is kept, with what it proves', async () => {
  expect(await walk()).toMatchObject({ lines: [], sumA: null });
  const measured = { way: 'drop', kind: 'standard', rating: 10, millivolts: 1.6, digitMv: 0.1 };
  const one = await walk(bench.ask(path(), { body: { place: ' F12 radio ', measured } }), 201);
  expect(one.lines[0]).toMatchObject({ place: 'F12 radio', measured });
  expect(one.sumA!.value).toBeCloseTo(0.2078, 4);
  expect(await walk()).toEqual(one);
  expect(await walk(bench.ask(path(`/${one.lines[0]!.id}`), { method: 'DELETE' }))).toMatchObject({
    lines: [],
  });
});

it('a fuse that is pulled is measured from the readings, and against the whole draw', async () => {
  await draw(40, 310);
  const whole = await walk(bench.ask(path('/whole'), { method: 'PUT', body: { recordingId } }));
  expect(whole.clampA!.value).toBeCloseTo(0.31, 6);
  expect(whole.clampA!.expandedUncertainty).toBeGreaterThan(0.005); // half a digit of 10 mA, k = 2

  const tapped = clock.nowMs();
  await clock.advance(400); // the message took its time
  const body = { place: 'F7', measured: { way: 'pull', recordingId, nowMs: tapped } };
  const pulled = await walk(bench.ask(path(), { body }), 201);
  expect(pulled.lines[0]!.measured).toMatchObject({ atS: (tapped - 200) / 1000, isFinal: false });
  expect(pulled.lines[0]!.says).toMatch(/^Being measured/);
  await draw(30, 60);
  const [line] = (await walk()).lines;
  expect(line!.currentA!.value).toBeCloseTo(0.25, 6);
  const back = await walk(bench.ask(path(`/${line!.id}/back`), { body: {} }));
  expect(back.lines[0]!.measured).toMatchObject({ isFinal: true });
  expect(back.lines[0]!.currentA!.value).toBeCloseTo(0.25, 6);
  expect(back.unexplainedA!.value).toBeCloseTo(0.06, 6);
  expect(back.says[0]).toMatch(/^F7 draws the most: 250 mA ± \d+ mA\.$/);
  await draw(60, 310);
  expect((await walk()).lines[0]!.currentA).toEqual(back.lines[0]!.currentA);
});

it('no step that the resolution does not carry is claimed', async () => {
  await draw(40, 50);
  const body = { place: 'F3', measured: { way: 'pull', recordingId } };
  await walk(bench.ask(path(), { body }), 201);
  await draw(30, 50);
  const [line] = (await walk()).lines;
  expect(Math.abs(line!.currentA!.value)).toBeLessThan(line!.currentA!.expandedUncertainty);
  expect(line!.says).toMatch(/^No step stands out: this circuit draws less than 8\.\d+ mA\.$/);
});

it('refuses what cannot be', async () => {
  const drop = { way: 'drop', kind: 'mini', rating: 10, millivolts: 1, digitMv: 0.1 };
  expect(await refused(bench, path(), { body: { place: 'F1', measured: drop } })).toEqual([
    400,
    'bad-request',
  ]);
  expect(await refused(bench, path(), { body: { place: ' ', measured: { ...drop, rating: 15 } } })).toEqual([
    400,
    'bad-request',
  ]);
  expect(await refused(bench, '/api/cases/nosuchcase/fuses')).toEqual([404, 'not-found']);
  expect(await refused(bench, path('/abcd1234'), { method: 'DELETE' })).toEqual([404, 'not-found']);
  expect(await refused(bench, path('/whole'), { method: 'PUT', body: { recordingId } })).toEqual([
    409,
    'conflict',
  ]);
  expect(
    await refused(bench, path('/whole'), { method: 'PUT', body: { amps: -1, uncertaintyA: 0 } }),
  ).toEqual([400, 'bad-request']);
  await ok(bench.ask(`/api/recordings/${recordingId}/stop`, { body: {} }));
  const pull = { place: 'F1', measured: { way: 'pull', recordingId } };
  expect(await refused(bench, path(), { body: pull })).toEqual([409, 'conflict']);
  const other = await ok<Case>(bench.ask('/api/cases', { body: { title: 'Other' } }), 201);
  expect(await refused(bench, `/api/cases/${other.id}/fuses`, { body: pull })).toEqual([409, 'conflict']);
});
