import { expect, test } from 'vitest';
import { bundlePath, reportPath, sealLines } from '../../web/state/evidence.ts';

const DIGEST = 'ab'.repeat(32);
const NOTHING = { key: DIGEST, heads: 0, lastHeadAt: null, faults: [], bundles: [] };

test('paths ask for the form that was chosen', () => {
  expect(reportPath('abcd', 'pdf', 'customer', 'letter')).toBe(
    '/api/recordings/abcd/report.pdf?for=customer&paper=letter',
  );
  expect(reportPath('abcd', 'html', 'workshop', 'letter')).toBe(
    '/api/recordings/abcd/report.html?for=workshop',
  );
  expect(bundlePath('abcd', '')).toBe('/api/recordings/abcd/bundle.zip');
  expect(bundlePath('abcd', 'identity,photos')).toBe(
    '/api/recordings/abcd/bundle.zip?without=identity%2Cphotos',
  );
});

test('an unsealed recording says so', () => {
  expect(sealLines(NOTHING, 'UTC')).toEqual(['Nothing was sealed while it was recorded.']);
});

test('seals and bundles are told with their times in the zone of the recording', () => {
  const lines = sealLines(
    {
      ...NOTHING,
      heads: 12,
      lastHeadAt: '2026-03-02T05:10:00.000Z',
      bundles: [{ at: '2026-07-02T06:00:00.000Z', sha256: DIGEST, without: ['identity', 'photos'] }],
    },
    'Europe/London',
  );
  expect(lines).toEqual([
    'Sealed while it was recorded in 12 steps, last Mon 2 Mar 2026, 05:10. It is still what was sealed.',
    `Bundle of Thu 2 Jul 2026, 07:00, without identity and photos: SHA-256 ${DIGEST}`,
  ]);
});

test('what was changed is not called as sealed', () => {
  const state = {
    ...NOTHING,
    heads: 1,
    lastHeadAt: '2026-03-02T05:10:00.000Z',
    faults: ['Block 1 differs.'],
  };
  expect(sealLines(state, null)[0]).toBe(
    'Sealed while it was recorded in 1 step, last Mon 2 Mar 2026, 05:10 UTC.',
  );
});
