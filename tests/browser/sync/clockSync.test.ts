import { describe, expect, test } from 'vitest';
import { RecordingAxis } from '../../../web/sync/axis.ts';
import { bestOffset, chooseOffset, SleepWatch } from '../../../web/sync/clockSync.ts';
import { ServerClock } from '../../../web/sync/serverClock.ts';
import { ManualClock } from '../../helpers/manualClock.ts';
import { seeded } from '../../helpers/seeded.ts';

describe('offset of the server clock', () => {
  test('the shortest round trip wins, whatever the others say', () => {
    const best = bestOffset([
      { sentMs: 0, receivedMs: 100, serverNowMs: 5090 },
      { sentMs: 200, receivedMs: 204, serverNowMs: 5202.5 },
      { sentMs: 300, receivedMs: 330, serverNowMs: 5301 },
    ]);
    expect(best).toEqual({ offsetMs: 5000.5, uncertaintyMs: 2, atMs: 204 });
    expect(bestOffset([])).toBeNull();
  });

  test('the true offset lies within the stated uncertainty, however lopsided the delays', () => {
    const random = seeded(7);
    for (let night = 0; night < 500; night++) {
      const truth = (random() - 0.5) * 1e9;
      const trips = Array.from({ length: 7 }, (_, i) => {
        const [out, back] = [random() * 40, random() * 40];
        const sentMs = i * 100;
        return { sentMs, receivedMs: sentMs + out + back, serverNowMs: sentMs + out + truth };
      });
      const best = bestOffset(trips)!;
      expect(Math.abs(best.offsetMs - truth)).toBeLessThanOrEqual(best.uncertaintyMs + 1e-6);
    }
  });

  test('a blunter measurement that agrees changes nothing; one that contradicts replaces the old', () => {
    const sharp = { offsetMs: 1000, uncertaintyMs: 0.5, atMs: 0 };
    expect(chooseOffset(sharp, { offsetMs: 1008, uncertaintyMs: 10, atMs: 1000 })).toBe(sharp);
    const contradicting = { offsetMs: 1030, uncertaintyMs: 10, atMs: 1000 };
    expect(chooseOffset(sharp, contradicting)).toBe(contradicting);
  });

  test('an old measurement is trusted less, because clocks drift', () => {
    const old = { offsetMs: 1000, uncertaintyMs: 0.5, atMs: 0 };
    const fresh = { offsetMs: 1003, uncertaintyMs: 5, atMs: 600_000 };
    expect(chooseOffset(old, fresh)).toBe(fresh); // 10 min at 100 parts in a million are 60 ms
  });

  test('an offset of one connection is not used for another', async () => {
    const clock = new ManualClock();
    await clock.advance(1000);
    let serverNow = 50_000;
    const server = new ServerClock(clock, async () => ({ nowMs: serverNow }));
    expect(server.serverMs(0)).toBeNull();
    expect(await server.sync(1)).toBe(true);
    expect(server.offsetOn(1)).toBe(49_000);
    expect(server.offsetOn(2)).toBeNull();
    serverNow = 10; // another server process, whose clock began anew
    expect(await server.sync(2)).toBe(true);
    expect(server.offsetOn(2)).toBe(-990);
  });

  test('a server that does not answer leaves the offset as it was', async () => {
    const clock = new ManualClock();
    let answers = true;
    const server = new ServerClock(clock, async () => {
      if (!answers) throw new Error('not connected');
      return { nowMs: 500 };
    });
    await server.sync(1);
    answers = false;
    expect(await server.sync(1)).toBe(false);
    expect(server.offsetOn(1)).toBe(500);
  });
});

test('a sleep shows as a jump of the wall clock, the drift of a whole night does not', () => {
  const watch = new SleepWatch();
  const asleepMs = 3_600_000;
  expect(watch.look(0, 1_000_000)).toBeNull();
  for (let minute = 1; minute <= 600; minute++) {
    expect(watch.look(minute * 60_000, 1_000_000 + minute * 60_006)).toBeNull();
  }
  const [now, utc] = [600 * 60_000, 1_000_000 + 600 * 60_006];
  expect(watch.look(now + 100, utc + 100 + asleepMs)).toEqual({ byMs: asleepMs, afterMs: now });
  expect(watch.look(now + 200, utc + 200 + asleepMs)).toBeNull();
});

describe('axis of a recording', () => {
  test('a later shift leaves what was read before in its place', () => {
    const axis = new RecordingAxis();
    expect(axis.known).toBe(false);
    axis.shift(1000, -400);
    expect(axis.at(900)).toBe(500); // read before the start was heard of
    axis.shift(2000, -401);
    axis.jump(3000, 3_600_000);
    expect([axis.at(1999), axis.at(2000), axis.at(2999), axis.at(3000)]).toEqual([
      1599, 1599, 2598, 3_602_599,
    ]);
  });

  test('keeps working over a month of new measurements', () => {
    const axis = new RecordingAxis();
    for (let minute = 0; minute < 43_200; minute++) axis.shift(minute * 60_000, minute % 2);
    expect(axis.at(43_199 * 60_000 + 5)).toBe(43_199 * 60_000 + 6);
  });
});
