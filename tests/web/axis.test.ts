import { describe, expect, it } from 'vitest';
import {
  currentAxisTitle,
  currentRange,
  currentTickText,
  evenTicks,
  steadyRange,
  stretched,
  stretchedTicks,
  unstretched,
  voltageRange,
  voltageTickText,
} from '../../web/state/axis.ts';
import { dialOf } from '../../web/state/dial.ts';

describe('the stretched current axis', () => {
  it('is even below 10 mA and gives each decade above the same room', () => {
    // asinh(x) = x - x^3/6 + ... for small x, and ln 2x for large x.
    expect(stretched(0.002) / stretched(0.001)).toBeCloseTo(2, 1);
    expect(stretched(10) - stretched(1)).toBeCloseTo(Math.log(10), 4);
    expect(stretched(100) - stretched(10)).toBeCloseTo(Math.log(10), 5);
    expect(unstretched(stretched(-0.37))).toBeCloseTo(-0.37, 12);
  });

  it('gives 20 mA asleep a readable height beside 20 A at locking', () => {
    const [low, high] = currentRange(0.02, 20, 'stretched');
    expect(low).toBe(0);
    expect(high).toBeGreaterThan(20);
    expect(stretched(0.02) / stretched(high)).toBeGreaterThan(0.15);
  });

  it('shows zero always, and what flows back below it', () => {
    expect(currentRange(5, 9, 'stretched')[0]).toBe(0);
    expect(currentRange(-2, 9, 'stretched')[0]).toBeLessThan(-2);
    expect(currentRange(-2, 9, 'even')[0]).toBeLessThan(-2);
    expect(currentRange(null, null, 'even')).toEqual([0, 0.0212]);
  });

  it('marks zero and decades first, none closer than asked', () => {
    const ticks = stretchedTicks(0, 20, 0.08);
    for (const must of [0, 0.01, 0.1, 1, 10]) expect(ticks).toContain(must);
    const height = stretched(20);
    for (let i = 1; i < ticks.length; i++)
      expect((stretched(ticks[i]!) - stretched(ticks[i - 1]!)) / height).toBeGreaterThanOrEqual(0.08);
  });

  it('says on the axis what it is', () => {
    expect(currentAxisTitle('stretched')).toContain('even below 10\u00a0mA');
    expect(currentAxisTitle('even')).toBe('Current, even scale');
  });
});

it('marks even axes on round values', () => {
  expect(evenTicks(0, 1, 5)).toEqual([0, 0.2, 0.4, 0.6, 0.8, 1]);
  expect(evenTicks(12.41, 12.69, 4)).toEqual([12.5, 12.6]);
  expect(evenTicks(3, 3, 4)).toEqual([]);
});

it('labels marks in trade units', () => {
  expect(currentTickText(0)).toBe('0');
  expect(currentTickText(0.03)).toBe('30\u00a0mA');
  expect(currentTickText(-3)).toBe('\u22123\u00a0A');
  expect(voltageTickText(12.5, 0.05)).toBe('12.50\u00a0V');
  expect(voltageTickText(12, 1)).toBe('12.0\u00a0V');
});

it('never magnifies the voltage beyond 0.1 V to full height', () => {
  const [low, high] = voltageRange(12.5, 12.501);
  expect(high - low).toBeGreaterThan(0.1);
  expect((low + high) / 2).toBeCloseTo(12.5005, 6);
  expect(voltageRange(null, null)).toEqual([12, 13]);
});

it('grows a running axis at once and shrinks it late', () => {
  expect(steadyRange(null, [0, 1], false)).toEqual([0, 1]);
  expect(steadyRange([0, 1], [-1, 0.5], false)).toEqual([-1, 1]);
  expect(steadyRange([0, 10], [0, 6], false)).toEqual([0, 10]);
  expect(steadyRange([0, 10], [0, 4], false)).toEqual([0, 4]);
});

describe('the dials', () => {
  it('place a value between their ends and say when it lies beyond', () => {
    const volts = dialOf('voltage')!;
    expect(volts.place(12.5)).toBeCloseTo(0.5, 9);
    expect(volts.beyond(9)).toBe(-1);
    expect(volts.place(9)).toBe(0);
    const amps = dialOf('current')!;
    expect(amps.place(0)).toBe(0);
    expect(amps.beyond(31)).toBe(1);
    expect(amps.place(0.02)).toBeGreaterThan(0.15);
    expect(dialOf('temperature')).toBeNull();
  });

  it('carry graduations in order, some with labels', () => {
    for (const q of ['voltage', 'current'] as const) {
      const { ticks } = dialOf(q)!;
      expect(ticks.filter((t) => t.label).length).toBeGreaterThan(3);
      for (let i = 1; i < ticks.length; i++) expect(ticks[i]!.at).toBeGreaterThan(ticks[i - 1]!.at);
    }
  });
});
