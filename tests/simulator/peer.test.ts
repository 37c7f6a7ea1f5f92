import { describe, expect, it } from 'vitest';
import type { ReplayPeer } from '../../drivers/links/replay/peer.ts';
import { decodePresentationFormat, decodePresented } from '../../drivers/core/presentation.ts';
import { createCar } from '../../server/simulator/car.ts';
import { SimClock } from '../../server/simulator/clock.ts';
import { makeNight } from '../../server/simulator/night.ts';
import { CLAMP_CURRENT, virtualPeers } from '../../server/simulator/peer.ts';
import type { Scenario } from '../../server/simulator/scenario.ts';
import { SCENARIOS } from '../../server/simulator/scenarios.ts';

interface Heard {
  readonly t: number[];
  readonly counts: number[];
  readonly scale: number[];
}

/** Listens to a peer as a link would: reconnects at once when it is in range again. */
function listen(peer: ReplayPeer, clock: SimClock, originMs = 0) {
  const heard: Heard = { t: [], counts: [], scale: [] };
  const drops: number[] = [];
  const [characteristic] = peer.characteristics;
  const format = decodePresentationFormat(characteristic!.descriptorValues[0]!.bytes);
  let stop = () => {};
  const connect = () => {
    if (!peer.inRange(clock.nowMs())) {
      clock.after(1, connect);
      return;
    }
    stop = peer.connected({
      clock,
      notify(_ref, bytes) {
        const { counts, scale } = decodePresented(format, bytes);
        heard.t.push(clock.nowMs() - originMs);
        heard.counts.push(counts);
        heard.scale.push(scale);
      },
      drop() {
        drops.push(clock.nowMs() - originMs);
        stop();
        connect();
      },
    });
  };
  connect();
  return { heard, drops, stop: () => stop() };
}

function overTheAir(scenario: Scenario, seed: number, durationS: number, originMs = 0) {
  const clock = new SimClock(0, originMs);
  const peers = virtualPeers(createCar(scenario, seed), { originMs });
  const listeners = peers.map((peer) => listen(peer, clock, originMs));
  clock.advanceTo(originMs + durationS * 1000);
  listeners.forEach((l) => l.stop());
  expect(clock.nextAt()).toBeNull(); // nothing keeps running
  return listeners;
}

const expectSame = (heard: Heard, columns: ReturnType<typeof makeNight>['clamp']) => {
  expect(heard.counts).toEqual([...columns.counts]);
  expect(heard.scale).toEqual([...columns.scale]);
  const worst = heard.t.reduce((w, t, i) => Math.max(w, Math.abs(t - columns.t[i]!)), 0);
  expect(worst).toBeLessThan(1e-6);
};

describe('virtual peers', () => {
  it.each(Object.values(SCENARIOS))(
    '$name sounds over the air as the directly made night reads',
    (scenario) => {
      const durationS = Math.min(scenario.nightS, 400);
      const [clamp, voltmeter] = overTheAir(scenario, 4, durationS);
      const night = makeNight(scenario, 4, durationS);
      expect(night.clamp.length).toBeGreaterThan(durationS);
      expectSame(clamp!.heard, night.clamp);
      expectSame(voltmeter!.heard, night.voltmeter);
    },
  );

  it('keeps the same time on a clock with another zero', () => {
    const [clamp] = overTheAir(SCENARIOS['short-night'], 4, 30, 123_456.75);
    expectSame(clamp!.heard, makeNight(SCENARIOS['short-night'], 4, 30).clamp);
  });

  it('falls silent in a dropout, ends the connection once, and comes back', () => {
    const radio = {
      ...SCENARIOS.live.clamp.radio,
      dropouts: [
        { fromS: 20.05, toS: 35.05 },
        { fromS: 50.05, toS: 52.05 },
      ],
    };
    const scenario = { ...SCENARIOS.live, clamp: { ...SCENARIOS.live.clamp, radio } };
    const [clamp, voltmeter] = overTheAir(scenario, 4, 60);
    expect(clamp!.drops.map((t) => t.toFixed(6))).toEqual(['20050.000000', '50050.000000']);
    expect(voltmeter!.drops).toEqual([]);
    const silent = clamp!.heard.t.slice(1).map((t, i) => t - clamp!.heard.t[i]!);
    expect(silent.filter((ms) => ms > 1000).map((ms) => Math.round(ms / 1000))).toEqual([15, 2]);
    expectSame(clamp!.heard, makeNight(scenario, 4, 60).clamp);
  });

  it('stops everything when the connection is closed before a dropout', () => {
    const radio = { ...SCENARIOS.live.clamp.radio, dropouts: [{ fromS: 20, toS: 35 }] };
    const scenario = { ...SCENARIOS.live, clamp: { ...SCENARIOS.live.clamp, radio } };
    const [clamp] = overTheAir(scenario, 4, 10); // overTheAir expects that no timer is left
    expect(clamp!.heard.t.length).toBe(99);
    expect(clamp!.drops).toEqual([]);
  });

  it('loses readings where the radio does, and no others', () => {
    const radio = { ...SCENARIOS.live.clamp.radio, loss: 0.1 };
    const scenario = { ...SCENARIOS.live, clamp: { ...SCENARIOS.live.clamp, radio } };
    const [clamp] = overTheAir(scenario, 4, 200);
    expect(clamp!.heard.t.length).toBeGreaterThan(1700);
    expect(clamp!.heard.t.length).toBeLessThan(1900);
    expectSame(clamp!.heard, makeNight(scenario, 4, 200).clamp);
  });

  it('sends nothing from before a late connection', () => {
    const clock = new SimClock(0);
    const [peer] = virtualPeers(createCar(SCENARIOS.live, 4));
    clock.advanceTo(70_333);
    const { heard } = listen(peer!, clock);
    clock.advanceTo(71_000);
    expect(heard.t.length).toBe(6);
    expect(heard.t[0]).toBeGreaterThan(70_333);
  });

  it('does not make up for the hours in which the machine slept', () => {
    const clock = new SimClock(0);
    const [peer] = virtualPeers(createCar(SCENARIOS.live, 4));
    let skipMs = 0;
    const laptop = {
      nowMs: () => clock.nowMs() + skipMs,
      utcMs: () => clock.utcMs() + skipMs,
      after: (ms: number, run: () => void) => clock.after(ms, run),
    };
    const times: number[] = [];
    peer!.connected({ clock: laptop, notify: () => times.push(laptop.nowMs()), drop: () => {} });
    clock.advanceTo(10_000);
    const before = times.length;
    skipMs = 3_600_000;
    clock.advanceTo(11_000);
    expect(before).toBe(99);
    expect(times.length - before).toBeLessThanOrEqual(10);
    expect(times.length - before).toBeGreaterThanOrEqual(8);
    expect(times[before]).toBeGreaterThan(3_610_000);
  });

  it('answers a read with its latest finished conversion', () => {
    const car = createCar({ ...SCENARIOS.live, clamp: { ...SCENARIOS.live.clamp, noise: 0 } }, 4);
    const [clamp, voltmeter] = virtualPeers(car);
    const ref = clamp!.characteristics[0]!;
    expect(ref.characteristic).toBe(CLAMP_CURRENT);
    const format = decodePresentationFormat(ref.descriptorValues[0]!.bytes);
    const { counts, scale } = decodePresented(format, clamp!.read(ref, 8250));
    expect(counts * 10 ** scale).toBeCloseTo(car.meanCurrentA(8.1, 8.2), 3);
    expect(clamp!.read(ref, 0)).toHaveLength(3);
    expect(voltmeter!.read(voltmeter!.characteristics[0]!, 0)).toHaveLength(2);
  });

  it('reports a touch of the handle in the very next readings', () => {
    const clock = new SimClock(0);
    const car = createCar(SCENARIOS.live, 4);
    const [clamp, voltmeter] = virtualPeers(car).map((peer) => listen(peer, clock).heard);
    clock.advanceTo(71_000);
    const from = clamp!.counts.length;
    const rest = voltmeter!.counts.at(-1)!;
    car.touchHandle(clock.nowMs());
    clock.advanceTo(72_000);
    expect(Math.max(...clamp!.counts.slice(from))).toBeGreaterThan(5000); // lock motors
    expect(rest - Math.min(...voltmeter!.counts.slice(from))).toBeGreaterThan(150);
  });
});
