import { readFileSync } from 'node:fs';
import { afterEach, beforeEach, expect, it } from 'vitest';
import type { Findings } from '../../server/messages/findings.ts';
import { pulsesSchema } from '../../server/messages/pulses.ts';
import { recordingSchema } from '../../server/messages/records.ts';
import { ok, refused } from '../helpers/answers.ts';
import { createWebBench, type WebBench } from '../helpers/webBench.ts';

const NIGHT = readFileSync('recordings/low-auxiliary-battery/night.csv.gz');
let bench: WebBench;

beforeEach(async () => {
  bench = await createWebBench();
});
afterEach(() => bench.close());

it('the pulses of a regime are folded and followed as the findings found them', async () => {
  const { id } = recordingSchema.parse(
    await ok(bench.ask('/api/import?name=night.csv.gz', { body: NIGHT }), 201),
  );
  const findings = await ok<Findings>(bench.ask(`/api/recordings/${id}/findings`));
  const regime = findings.polling.regimes[0]!;
  const { startS, endS, periodS } = regime;
  const query = `quantity=current&startS=${startS}&endS=${endS}&periodS=${periodS!.value}`;
  const pulses = pulsesSchema.parse(await ok(bench.ask(`/api/recordings/${id}/pulses?${query}`)));
  expect(pulses.share).toBe(1);
  // Nearly all of its pulses; those on a wake-up are left out.
  expect(pulses.fold!.pulses).toBeGreaterThan(0.9 * regime.pulses);
  expect(pulses.fold!.pulses).toBeLessThanOrEqual(regime.pulses);
  const mean = pulses.period.periodS.reduce((a, b) => a + b, 0) / pulses.period.periodS.length;
  expect(Math.abs(mean - periodS!.value)).toBeLessThan(2e-5);
});

it('what is not there or not asked properly is refused by its code', async () => {
  const { id } = recordingSchema.parse(
    await ok(bench.ask('/api/import?name=n.csv', { body: 'time_s,voltage_V\n0,12.6\n1,12.5\n' }), 201),
  );
  const ask = (query: string) => refused(bench, `/api/recordings/${id}/pulses?${query}`);
  expect(await ask('quantity=current&startS=0&endS=9&periodS=1')).toEqual([404, 'not-found']);
  expect(await ask('quantity=voltage&startS=9&endS=0&periodS=1')).toEqual([400, 'bad-request']);
  expect(await ask('quantity=voltage&startS=0&endS=9&periodS=0')).toEqual([400, 'bad-request']);
  const few = `/api/recordings/${id}/pulses?quantity=voltage&startS=0&endS=9&periodS=1`;
  expect(await ok(bench.ask(few))).toEqual({
    share: 1,
    fold: null,
    period: { atS: [], periodS: [], uncertaintyS: [] },
  });
});
