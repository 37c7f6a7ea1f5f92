import { describe, expect, it } from 'vitest';
import { findNight } from '../../server/battery/findings.ts';
import { hardNight } from '../helpers/hard-nights.ts';
import { makeNight } from '../helpers/nights.ts';

/**
 * Pulses of two readings every 2.3 readings touch each other three times in ten, so that single rises keep a beat of
 * 23/7 readings, beside a slower train that shows well.
 */
describe('pulses that run together', () => {
  it.each([40, 42])('are not given the beat of what stands apart of them (night %i)', (seed) => {
    const spec = hardNight('anyRate', seed);
    const night = makeNight(spec);
    const { polling } = findNight(night.input);
    const truths = night.truth.trains[0]!.map((x) => x.periodS);
    const said = polling.regimes.flatMap((r) => (r.periodS === null ? [] : [r.periodS.value]));
    for (const period of said)
      expect(Math.min(...truths.map((truth) => Math.abs(period / truth - 1)))).toBeLessThan(1e-3);
    expect(said.length).toBeGreaterThan(0);
  });
});
