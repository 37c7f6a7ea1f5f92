import { describe, expect, it } from 'vitest';
import { FLAG } from '../../drivers/core/reading.ts';
import type { Meter } from '../../server/messages/meters.ts';
import type { Readings } from '../../server/messages/socket.ts';
import {
  attemptText,
  chosenChannel,
  freshness,
  LiveBoard,
  recordable,
  RUNNING_S,
} from '../../web/state/live.ts';

function volts(
  t: number[],
  value: (number | null)[],
  text = String(value[value.length - 1]),
  meterKey = 'page:one',
  flags = t.map(() => 0),
): Readings {
  return { meterKey, channels: [{ key: 'v', quantity: 'voltage', t, value, text, flags }] };
}
const ID = 'page:one|v';

describe('the live board', () => {
  it("shows the meter's own digits and holds the lowest with them", () => {
    const board = new LiveBoard();
    board.take(volts([0, 100], [12.4, 12.3], '12.300'));
    board.take(volts([200], [12.5], '12.500'));
    expect(board.channels()[0]).toMatchObject({ id: ID, text: '12.500', value: 12.5, atMs: 200, live: true });
    expect(board.lowest(ID)).toEqual({ value: 12.3, text: '12.300', atMs: 100 });
    board.release();
    expect(board.lowest(ID)).toBeNull();
    board.take(volts([300], [12.45]));
    expect(board.lowest(ID)!.value).toBe(12.45);
  });

  it('counts what is not live as no value: no lowest, a broken line, the last figure kept', () => {
    const board = new LiveBoard();
    board.take(volts([0], [12.4], '12.400'));
    board.take(volts([100], [1.1], '1.100', 'page:one', [FLAG.hold]));
    expect(board.lowest(ID)!.value).toBe(12.4);
    expect(board.channels()[0]).toMatchObject({ text: '12.400', live: false });
    expect(board.trace(ID).y).toEqual([12.4, null]);
    expect(freshness(board.channels()[0]!, 100)).toBe('old');
  });

  it('breaks the line where nothing came for more than five seconds', () => {
    const board = new LiveBoard();
    board.take(volts([0], [12.4]));
    board.take(volts([9000], [12.5]));
    expect(board.trace(ID)).toEqual({ t: [0, 4500, 9000], y: [12.4, null, 12.5] });
  });

  it('drops what was seen before', () => {
    const board = new LiveBoard();
    board.take(volts([0, 100], [12.4, 12.3]));
    board.take(volts([100, 200], [9, 12.5]));
    expect(board.trace(ID).t).toEqual([0, 100, 200]);
    expect(board.lowest(ID)!.value).toBe(12.3);
  });

  it('begins its line anew when the server, and with it its clock, was started again', () => {
    const board = new LiveBoard();
    board.take(volts([900_000, 900_100], [12.4, 12.2]));
    board.take(volts([50, 150], [12.5, 12.6]));
    expect(board.trace(ID)).toEqual({ t: [50, 150], y: [12.5, 12.6] });
    expect(board.lowest(ID)!.value).toBe(12.2);
    expect(board.channels()[0]).toMatchObject({ value: 12.6, atMs: 150 });
  });

  it('keeps about a minute however long it runs', () => {
    const board = new LiveBoard();
    for (let s = 0; s < 3600; s++) {
      const t = Array.from({ length: 20 }, (_, i) => s * 1000 + i * 50);
      board.take(
        volts(
          t,
          t.map(() => 12),
        ),
      );
    }
    const { t } = board.trace(ID);
    expect(t.length).toBeLessThan(20 * (RUNNING_S + 5) * 2.1);
    expect(t[t.length - 1]! - t[0]!).toBeGreaterThan(RUNNING_S * 1000);
  });

  it('gives each attempt the lowest voltage since the one before', () => {
    const board = new LiveBoard();
    board.take(volts([0, 100, 200], [12.4, 11.9, 12.3]));
    const first = board.mark('button-only', 250, ID);
    expect(first).toMatchObject({ number: 1, lowestV: 11.9 });
    board.take(volts([300, 400], [12.2, 12.3]));
    const second = board.mark('opened', 450, ID);
    expect(second).toMatchObject({ number: 2, lowestV: 12.2 });
    expect(attemptText(first)).toBe('the handle failed, the button worked, lowest 11.900 V');
    expect(board.mark('opened', 460, ID).lowestV).toBeNull();
    expect(attemptText(board.attempts()[2]!)).toBe('opened by the handle');
  });

  it('forgets meters that are gone', () => {
    const board = new LiveBoard();
    board.take(volts([0], [12]));
    board.keepOnly(new Set(['page:other']));
    expect(board.channels()).toEqual([]);
  });
});

it('shows a real meter before a virtual one, and the one asked for before both', () => {
  const board = new LiveBoard();
  board.take(volts([0], [12], '12', 'virtual:volt'));
  board.take(volts([0], [12.1], '12.1', 'page:one'));
  expect(chosenChannel(board.channels(), 'voltage', null)!.meterKey).toBe('page:one');
  expect(chosenChannel(board.channels(), 'voltage', 'virtual:volt|v')!.meterKey).toBe('virtual:volt');
  expect(chosenChannel(board.channels(), 'voltage', 'gone')!.meterKey).toBe('page:one');
  expect(chosenChannel(board.channels(), 'current', null)).toBeNull();
});

it('calls a figure old after five seconds', () => {
  const board = new LiveBoard();
  board.take(volts([1000], [12]));
  const c = board.channels()[0]!;
  expect(freshness(c, 5999)).toBe('fresh');
  expect(freshness(c, 6001)).toBe('old');
  expect(freshness(c, null)).toBe('fresh');
  expect(freshness(null, 0)).toBe('none');
});

it('records from meters that are on and have something to say', () => {
  const meter = (key: string, state: Meter['state'], channels: Meter['channels']): Meter => ({
    key,
    source: 'server',
    name: key,
    driver: null,
    state,
    rssi: null,
    channels,
    sentence: '',
  });
  const channels: Meter['channels'] = [{ key: 'v', quantity: 'voltage', label: 'Voltage', apertureMs: null }];
  const list = [
    meter('server:a', 'connected', channels),
    meter('server:b', 'connected', []),
    meter('server:c', 'seen', channels),
    meter('server:d', 'reconnecting', channels),
  ];
  expect(recordable(list).map((m) => m.key)).toEqual(['server:a', 'server:d']);
});
