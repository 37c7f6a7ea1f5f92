import { describe, expect, it } from 'vitest';
import { OCV_TABLES, rivalsOf, stateOfChargeAt, tableFor, voltageAt } from '../../server/battery/tables.ts';

const table = (id: string) => OCV_TABLES.find((t) => t.id === id)!;

describe('rest-voltage tables', () => {
  it.each([
    ['A', 12.4, 0.6905],
    ['A', 12.15, 0.375],
    ['B-agm', 12.45, 0.625],
  ])('table %s at %f V', (id, volts, expected) => {
    expect(stateOfChargeAt(table(id), volts)).toBeCloseTo(expected, 4);
  });

  // The published tables' own disagreement at 12.20 V, from 42 to 60 %.
  it.each([
    ['A', 0.44],
    ['B-flooded', 0.5],
    ['B-agm', 0.42],
    ['C', 0.6],
    ['D', 0.53],
  ])('table %s at 12.20 V', (id, expected) => {
    expect(Math.abs(stateOfChargeAt(table(id), 12.2) - expected)).toBeLessThan(0.006);
  });

  it('rises, holds at its ends and inverts', () => {
    for (const t of OCV_TABLES) {
      t.points.slice(1).forEach(([s, v], i) => {
        expect(s).toBeGreaterThan(t.points[i]![0]);
        expect(v).toBeGreaterThan(t.points[i]![1]);
      });
      expect(stateOfChargeAt(t, 5)).toBe(0);
      expect(stateOfChargeAt(t, 15)).toBe(1);
      for (const s of [0, 0.1, 0.33, 0.75, 1]) expect(stateOfChargeAt(t, voltageAt(t, s))).toBeCloseTo(s, 12);
      expect(t.source.length).toBeGreaterThan(10);
    }
  });

  it('picks a table by chemistry and never lets one table stand alone', () => {
    expect(tableFor('efb').id).toBe('A');
    expect(tableFor(undefined).id).toBe('A');
    expect(tableFor('agm').id).toBe('B-agm');
    expect(tableFor('gel').id).toBe('B-gel');
    for (const chemistry of [undefined, 'flooded', 'efb', 'agm', 'gel'] as const)
      expect(rivalsOf(chemistry).length).toBeGreaterThan(1);
  });
});
