import { describe, expect, it } from 'vitest';
import { durationText, estimateText, figureText } from '../../server/messages/figures.ts';

const e = (value: number, expandedUncertainty: number) => ({ value, expandedUncertainty });

describe('figures in words', () => {
  it.each([
    [e(0.0312345, 0.00083), 'current', '31.2 mA ± 0.8 mA'],
    [e(0.0312347, 0.0000123), 'current', '31.23 mA ± 0.02 mA'],
    [e(12.73196, 0.00005), 'voltage', '12.732 V ± 0.001 V'],
    [e(1.2345, 0.05), 'current', '1.23 A ± 0.05 A'],
    [e(-0.0254, 0.001), 'current', '-25.4 mA ± 1.0 mA'],
    [e(12.4083, 0.0106), 'voltage', '12.408 V ± 0.011 V'],
    [e(0.704, 0.083), 'percent', '70 % ± 8 %'],
    [e(0.75, 0.000002), 'period', '0.75000 s ± 0.00001 s'],
    [e(7200, 3), 'period', '120.00 min ± 0.05 min'],
    [e(127, 43), 'days', '130 days ± 40 days'],
    [e(5, 0), 'days', '5.00 days'],
    [e(0.012, 0.0004), 'pulseCharge', '12.0 mC ± 0.4 mC'],
    [e(720, 36), 'charge', '0.200 Ah ± 0.010 Ah'],
  ] as const)('%o as %s', (estimate, kind, text) => {
    expect(estimateText(estimate, kind)).toBe(text);
  });

  it('says nothing about what is not known', () => {
    expect(estimateText(null, 'current')).toBeNull();
  });

  it.each([
    [0.24, '240 mA'],
    [0.0251, '25.1 mA'],
    [1.25, '1.25 A'],
    [0, '0 mA'],
  ])('a bare %f A', (value, text) => {
    expect(figureText(value, 'current')).toBe(text);
  });

  it.each([
    [0.75, '0.75 s'],
    [40, '40 s'],
    [59.7, '1 min'],
    [760, '12 min 40 s'],
    [7500, '2 h 5 min'],
    [28_800, '8 h'],
    [3599.8, '1 h'],
    [5 * 86_400 + 3 * 3600, '5 days 3 h'],
    [-2, '2.0 s'],
  ])('%f s', (seconds, text) => {
    expect(durationText(seconds)).toBe(text);
  });
});
