import fc from 'fast-check';
import { expect, it } from 'vitest';
import { planFor, serves } from '../../web/state/fetchplan.ts';
import {
  covers,
  fitWindow,
  isWhole,
  panWindow,
  SHORTEST_S,
  spanOf,
  viewAfterGrowth,
  windowAround,
  windowForKey,
  zoomWindow,
} from '../../web/state/window.ts';

const whole = { fromS: 0, toS: 36_000 };

it('keeps what is under the pointer in its place while zooming', () => {
  const w = zoomWindow({ fromS: 0, toS: 1000 }, whole, 0.5, 250);
  expect(w).toEqual({ fromS: 125, toS: 625 });
});

it('moves and never leaves the recording', () => {
  expect(panWindow({ fromS: 100, toS: 200 }, whole, 0.25)).toEqual({ fromS: 125, toS: 225 });
  expect(panWindow({ fromS: 100, toS: 200 }, whole, -9)).toEqual({ fromS: 0, toS: 100 });
  expect(panWindow({ fromS: 100, toS: 200 }, whole, 1e9)).toEqual({ fromS: 35_900, toS: 36_000 });
});

it('shows a moment with its surroundings and a stretch with a margin', () => {
  expect(windowAround(600, 600, whole)).toEqual({ fromS: 570, toS: 630 });
  expect(windowAround(1000, 2000, whole)).toEqual({ fromS: 750, toS: 2250 });
  expect(windowAround(0, 10, whole).fromS).toBe(0);
});

it('answers to its keys only', () => {
  const w = { fromS: 1000, toS: 2000 };
  expect(windowForKey('ArrowRight', w, whole)).toEqual({ fromS: 1250, toS: 2250 });
  expect(windowForKey('PageUp', w, whole)).toEqual({ fromS: 0, toS: 1000 });
  expect(windowForKey('End', w, whole)).toEqual({ fromS: 35_000, toS: 36_000 });
  expect(windowForKey('+', w, whole)).toEqual({ fromS: 1250, toS: 1750 });
  expect(windowForKey('-', w, whole)).toEqual({ fromS: 500, toS: 2500 });
  expect(windowForKey('0', w, whole)).toEqual(whole);
  expect(windowForKey('ArrowDown', w, whole)).toBeNull();
  expect(windowForKey('a', w, whole)).toBeNull();
});

it('any sequence of moves stays inside, not shorter than can be read', () => {
  const move = fc.oneof(
    fc.record({
      zoom: fc.double({ min: 0.01, max: 100, noNaN: true }),
      at: fc.double({ min: 0, max: 1, noNaN: true }),
    }),
    fc.record({ pan: fc.double({ min: -50, max: 50, noNaN: true }) }),
  );
  fc.assert(
    fc.property(fc.array(move, { maxLength: 30 }), (moves) => {
      let w = whole;
      for (const m of moves) {
        w =
          'pan' in m ? panWindow(w, whole, m.pan) : zoomWindow(w, whole, m.zoom, w.fromS + spanOf(w) * m.at);
        expect(w.fromS).toBeGreaterThanOrEqual(-1e-6);
        expect(w.toS).toBeLessThanOrEqual(36_000 + 1e-6);
        expect(spanOf(w)).toBeGreaterThanOrEqual(SHORTEST_S - 1e-6);
      }
    }),
  );
});

it('fits a window that is longer than the recording', () => {
  expect(fitWindow({ fromS: -10, toS: 1e6 }, whole)).toEqual(whole);
  expect(isWhole(whole, whole)).toBe(true);
  expect(isWhole({ fromS: 1, toS: 36_000 }, whole)).toBe(false);
});

it('asks for two buckets a pixel, with room on either side', () => {
  expect(planFor(whole, whole, 600)).toEqual({ ...whole, buckets: 1200 });
  expect(planFor({ fromS: 1000, toS: 2000 }, whole, 600)).toEqual({ fromS: 500, toS: 2500, buckets: 2400 });
  expect(planFor({ fromS: 1000, toS: 2000 }, whole, 9000).buckets).toBe(4000);
});

it('asks again when the view has left what was fetched or has become much finer', () => {
  const view = { fromS: 1000, toS: 2000 };
  const plan = planFor(view, whole, 600);
  expect(serves(plan, view, whole, 600)).toBe(true);
  expect(serves(plan, panWindow(view, whole, 0.4), whole, 600)).toBe(true);
  expect(serves(plan, panWindow(view, whole, 0.6), whole, 600)).toBe(false);
  expect(serves(plan, zoomWindow(view, whole, 0.5), whole, 600)).toBe(false);
  expect(serves(plan, zoomWindow(view, whole, 2), whole, 600)).toBe(true);
  expect(covers(plan, view)).toBe(true);
});

it('follows a recording that grows only where it was looked at as a whole or at its end', () => {
  const longer = { fromS: 0, toS: 36_060 };
  expect(viewAfterGrowth(whole, whole, longer)).toEqual(longer);
  expect(viewAfterGrowth({ fromS: 35_900, toS: 36_000 }, whole, longer)).toEqual({
    fromS: 35_960,
    toS: 36_060,
  });
  expect(viewAfterGrowth({ fromS: 100, toS: 200 }, whole, longer)).toEqual({ fromS: 100, toS: 200 });
});
