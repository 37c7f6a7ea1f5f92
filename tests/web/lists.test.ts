import { expect, it } from 'vitest';
import type { Status } from '../../server/messages/http.ts';
import type { Meter } from '../../server/messages/meters.ts';
import type { Case } from '../../server/messages/records.ts';
import { CAUTION_LINE, CAUTION_RULE, cautionsFor } from '../../web/state/cautions.ts';
import {
  connectedCount,
  measuresText,
  metersOf,
  serverWay,
  signalWord,
  stateWord,
} from '../../web/state/meters.ts';
import {
  casesInOrder,
  defaultTitle,
  deletionText,
  goesOnText,
  newestOfCases,
  recordingLine,
  recordingsCountText,
} from '../../web/state/recordings.ts';
import { sampleDetail } from './samples.ts';

const { recording } = sampleDetail();

it('says in one line what a recording is', () => {
  expect(recordingLine(recording)).toBe(
    'Overnight test · Tue 4 Mar 2025, 21:00 · 10 h · current and voltage',
  );
  expect(recordingLine({ ...recording, state: 'recording', channels: [] }, 'Van')).toBe(
    'Van · Overnight test · Tue 4 Mar 2025, 21:00 · running now · no readings yet',
  );
});

it('finds the newest night of each case', () => {
  const later = { ...recording, id: 'late', caseId: 'aaaa', startedAt: '2025-04-01T00:00:00.000Z' };
  const newest = newestOfCases([{ ...recording, caseId: 'aaaa' }, later, recording]);
  expect([...newest].map(([id, r]) => [id, r.id])).toEqual([['aaaa', 'late']]);
});

it('puts demo cases last and the newest first', () => {
  const one = (id: string, demo: boolean, createdAt: string) => ({ id, demo, createdAt }) as Case;
  const list = [
    one('demo', true, '2026-01-01'),
    one('old', false, '2024-01-01'),
    one('new', false, '2025-01-01'),
  ];
  expect(casesInOrder(list).map((c) => c.id)).toEqual(['new', 'old', 'demo']);
});

it('counts and warns in words', () => {
  expect([0, 1, 2].map(recordingsCountText)).toEqual(['no recordings', '1 recording', '2 recordings']);
  expect(deletionText(0, 30)).toBe('It can be brought back for 30 days, with its photos and notes.');
  expect(goesOnText('2026-03-01T10:00:00.000Z', 30)).toBe('Goes for good after Tue 31 Mar 2026');
  expect(deletionText(2, 30)).toContain('Its 2 recordings stay');
  expect(defaultTitle('overnight-test', Date.UTC(2025, 2, 4, 21), 'Europe/London')).toBe(
    'Overnight test, Tue 4 Mar, 21:00',
  );
});

const meter = (change: Partial<Meter>): Meter => ({
  key: 'server:a',
  source: 'server',
  name: 'Clamp',
  driver: null,
  state: 'seen',
  rssi: null,
  channels: [],
  sentence: '',
  ...change,
});

it('lists the meters of one radio, connected ones first, then by strength', () => {
  const list = [
    meter({ key: 'server:far', rssi: -90 }),
    meter({ key: 'server:near', rssi: -50 }),
    meter({ key: 'server:on', state: 'connected' }),
    meter({ key: 'virtual:v', source: 'virtual', state: 'connected' }),
  ];
  expect(metersOf(list, 'server').map((m) => m.key)).toEqual(['server:on', 'server:near', 'server:far']);
  expect(connectedCount(list)).toBe(2);
});

it('has a word for each state, strength and kind of meter', () => {
  const states = ['seen', 'connecting', 'connected', 'reconnecting', 'failed'] as const;
  expect(new Set(states.map((state) => stateWord(meter({ state })))).size).toBe(5);
  expect([null, -50, -70, -80, -99].map(signalWord)).toEqual([
    null,
    'strong signal',
    'good signal',
    'weak signal',
    'very weak signal',
  ]);
  const channel = { key: 'v', label: 'x', apertureMs: null };
  expect(measuresText(meter({}))).toBe('not known yet');
  expect(
    measuresText(
      meter({
        channels: [
          { ...channel, quantity: 'voltage' },
          { ...channel, key: 'c', quantity: 'current' },
        ],
      }),
    ),
  ).toBe('voltage and current');
});

it("passes on the server's one sentence about its radio", () => {
  const status = {
    bluetooth: { state: 'unavailable', reason: 'no-adapter', sentence: 'No adapter is plugged in.' },
  } as Status;
  expect(serverWay(status)).toEqual({ ready: false, sentence: 'No adapter is plugged in.' });
  expect(serverWay(null).ready).toBe(false);
});

it('warns of what hurts where the work happens, and defers to the maker', () => {
  const said = cautionsFor('live')
    .map((c) => `${c.what} ${c.why}`)
    .join(' ');
  for (const word of ['3 m (10 ft)', 'orange', 'hydrogen', 'spanner', 'In-line meter', 'Carbon monoxide'])
    expect(said).toContain(word);
  expect(cautionsFor('meters').map((c) => c.id)).toContain('laptop');
  expect(CAUTION_LINE).toContain('3 m');
  expect(CAUTION_RULE).toContain("maker's procedure");
});
