import { expect, it } from 'vitest';
import { hashOf, PLACES, placeOf, routeOf, type Route } from '../../web/state/route.ts';

const ROUTES: Route[] = [
  { page: 'start' },
  { page: 'cases' },
  { page: 'case', id: 'abcd1234' },
  { page: 'case-edit', id: null },
  { page: 'case-edit', id: 'abcd1234' },
  { page: 'recordings' },
  { page: 'night', id: 'zz99' },
  { page: 'live', caseId: null },
  { page: 'live', caseId: 'abcd' },
  { page: 'preflight', caseId: null },
  { page: 'preflight', caseId: 'abcd' },
  { page: 'meters' },
  { page: 'teach' },
  { page: 'help' },
];

it.each(ROUTES)('finds its way back to %o', (route) => {
  expect(routeOf(hashOf(route))).toEqual(route);
});

it('forgives slashes and an empty address', () => {
  expect(routeOf('')).toEqual({ page: 'start' });
  expect(routeOf('#')).toEqual({ page: 'start' });
  expect(routeOf('#/cases/')).toEqual({ page: 'cases' });
});

it.each([
  '#/nowhere',
  '#/cases/UPPER',
  '#/cases/ab',
  '#/recordings/abcd/edit',
  '#/start',
  '#/cases/abcd/edit/x',
])('calls %s lost', (hash) => {
  expect(routeOf(hash)).toEqual({ page: 'lost' });
});

it('gives each place of the navigation its own letter and route', () => {
  expect(new Set(PLACES.map((p) => p.letter)).size).toBe(PLACES.length);
  for (const p of PLACES) expect(placeOf(routeOf(p.page === 'start' ? '#/' : `#/${p.page}`))).toBe(p.page);
});

it('keeps the place of a page that lies deeper', () => {
  expect(placeOf({ page: 'night', id: 'abcd' })).toBe('recordings');
  expect(placeOf({ page: 'case-edit', id: null })).toBe('cases');
  expect(placeOf({ page: 'help' })).toBeNull();
});
