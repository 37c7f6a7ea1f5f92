import type { Clock } from '../../drivers/core/clock.ts';
import type { Link } from '../../drivers/core/link.ts';
import { createReplayLink } from '../../drivers/links/replay/link.ts';
import type { VirtualCar } from '../capture/radio.ts';
import { createCar, type VirtualCar as Car } from '../simulator/car.ts';
import { virtualPeers } from '../simulator/peer.ts';
import type { Scenario } from '../simulator/scenario.ts';

export interface VirtualCarOptions {
  readonly scenario: Scenario;
  /** A new one for each start. */
  readonly seed: () => number;
  readonly clock: Clock;
}

/** The virtual car on the given clock: its night begins when it is started, its meters are in the air until it stops. */
export function createVirtualCar({ scenario, seed, clock }: VirtualCarOptions): VirtualCar {
  let off: { readonly id: string; readonly fromS: number; toS: number }[] = [];
  let night: { readonly car: Car; readonly link: Link; readonly originMs: number } = begin();

  function begin(): typeof night {
    const originMs = clock.nowMs();
    const car = createCar(scenario, seed());
    off = [];
    const isOff = (id: string, atS: number) => off.some((o) => o.id === id && o.fromS <= atS && atS < o.toS);
    return { car, originMs, link: createReplayLink(virtualPeers(car, { originMs, isOff }), clock) };
  }

  return {
    meterIds: virtualPeers(night.car).map((peer) => peer.id),
    radio: {
      link: {
        kind: 'replay',
        find: (options) => night.link.find(options),
        connect: (id, options) => night.link.connect(id, options),
      },
      status: () => ({ state: 'ready', reason: null, sentence: 'The virtual car needs no adapter.' }),
    },
    start: () => {
      night = begin();
    },
    stop: () => undefined,
    touchHandle: () => void night.car.touchHandle(clock.nowMs() - night.originMs),
    takeOff: (id) => {
      const secondsNow = () => (clock.nowMs() - night.originMs) / 1000;
      const span = { id, fromS: secondsNow(), toS: Infinity };
      off.push(span);
      return () => {
        span.toS = secondsNow();
      };
    },
    wake: () => night.car.wake(clock.nowMs() - night.originMs),
  };
}
