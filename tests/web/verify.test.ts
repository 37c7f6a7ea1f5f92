import { afterAll, beforeAll, expect, test } from 'vitest';
import { hashOf, routeOf } from '../../web/state/route.ts';
import { checkBundle } from '../../web/parts/checkBundle.ts';
import { sealingBench, type SealingBench } from '../helpers/sealedNight.ts';

let bench: SealingBench;
beforeAll(() => (bench = sealingBench()));
afterAll(() => bench.close());

test('the page checks a bundle with its own hash and signatures', () => {
  const bundle = bench.seal();
  const { status, signedBy } = checkBundle(bundle, '');
  expect(status).toBe('intact');
  expect(checkBundle(bundle, ` ${signedBy!.toUpperCase()} `).status).toBe('intact');
  expect(checkBundle(bundle, 'ab'.repeat(32)).status).toBe('changed');
  bundle[2000]! ^= 4;
  expect(checkBundle(bundle, '').status).toBe('unreadable');
});

test('has an address', () => {
  expect(routeOf('#/verify')).toEqual({ page: 'verify' });
  expect(hashOf({ page: 'verify' })).toBe('#/verify');
});
