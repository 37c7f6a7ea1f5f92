import { expect, it } from 'vitest';
import { caseInputSchema, caseSchema, type Case } from '../../server/messages/records.ts';
import { findCases, matches } from '../../web/state/caseSearch.ts';
import { photoSteps, sizeWithin } from '../../web/state/photo.ts';

const one = (title: string, more: object = {}): Case =>
  caseSchema.parse({
    ...caseInputSchema.parse({ title }),
    id: title.toLowerCase().padEnd(4, 'x').replace(/\W/g, ''),
    createdAt: '2026-01-05T21:00:00.000Z',
    demo: false,
    recordings: 0,
    ...more,
  });

const coupe = one('Coupé, Mr Grey', { plateOrVin: 'AB12 CDE', complaint: 'Handle dead on cold mornings' });
const van = one('Van', { plateOrVin: '1M8GDM9AXKP042788', archivedAt: '2026-02-01T00:00:00.000Z' });

it.each([
  ['coupe grey', true],
  ['ab12cde', true],
  ['AB-12', true],
  ['cold handle', true],
  ['  ', true],
  ['ab grey van', false],
  ['van', false],
])('looks for %j in title, plate and complaint', (asked, found) => {
  expect(matches(coupe, asked)).toBe(found);
});

it('finds a part of a VIN, and says what lies on the other shelf', () => {
  expect(findCases([coupe, van], 'kp0427', 'open')).toEqual({ cases: [], open: 0, archived: 1 });
  expect(findCases([coupe, van], '', 'archived').cases).toEqual([van]);
});

it('makes photos smaller, keeps their shape and never blows them up', () => {
  expect(sizeWithin(4000, 3000, 2000)).toEqual({ widthPx: 2000, heightPx: 1500 });
  expect(sizeWithin(640, 480, 2000)).toEqual({ widthPx: 640, heightPx: 480 });
  expect(sizeWithin(9000, 2, 2000)).toEqual({ widthPx: 2000, heightPx: 1 });
  const edges = photoSteps().map((s) => s.edgePx * s.quality);
  expect(edges).toEqual([...edges].sort((a, b) => b - a));
});
