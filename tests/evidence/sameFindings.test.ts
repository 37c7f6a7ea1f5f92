import { expect, test } from 'vitest';
import { sameFindings } from '../../server/evidence/contents.ts';

const FOUND = { state: 'slept', steps: [{ atS: 31, toA: 0.029 }], noise: null, reversed: false };

test.each([
  ['itself', FOUND, true],
  ['the last digits of a figure', { ...FOUND, steps: [{ atS: 31, toA: 0.029 * (1 + 1e-9) }] }, true],
  ['a figure', { ...FOUND, steps: [{ atS: 31, toA: 0.02901 }] }, false],
  ['a word', { ...FOUND, state: 'never-slept' }, false],
  ['a figure where there was none', { ...FOUND, noise: 0 }, false],
  ['one more entry', { ...FOUND, steps: [...FOUND.steps, ...FOUND.steps] }, false],
  ['one more field', { ...FOUND, more: 1 }, false],
  ['another field', { state: 'slept', steps: FOUND.steps, noise: null, turned: false }, false],
])('findings against the same but for %s', (_what, other, same) => {
  expect(sameFindings(FOUND, other)).toBe(same);
  expect(sameFindings(other, FOUND)).toBe(same);
});
