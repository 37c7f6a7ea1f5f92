import type { CharacteristicRef } from '../../drivers/core/link.ts';
import { shortOf, uuid16, type Uuid } from '../../drivers/core/uuid.ts';
import type { ReplayAir, ReplayPeer } from '../../drivers/links/replay/peer.ts';
import {
  encodePresentationFormat,
  encodePresented,
  type PresentationFormat,
} from '../../drivers/core/presentation.ts';
import type { VirtualCar } from './car.ts';
import { createMeter, type VirtualMeter } from './meter.ts';

/**
 * A vendor's own characteristic, as a clamp would use that has no assigned one; made up for this one. It lives
 * in an assigned service, because a browser may use only services that it named in advance.
 */
export const CLAMP_CURRENT: Uuid = '6c1d0002-93b5-4e0c-8a52-0f7e3d21b4a9';
const AUTOMATION_IO = uuid16(0x1815);
const ANALOG = uuid16(0x2a58);
const PRESENTATION_FORMAT = uuid16(0x2904);
const UNIT_AMPERE = uuid16(0x2704);
const UNIT_VOLT = uuid16(0x2728);

// Presentation format codes (SIG Assigned Numbers).
const UINT16 = 0x06;
const SINT24 = 0x0f;
const NAMESPACE_SIG = 1;

/** A machine that was asleep for longer finds that the readings meant for that time are gone. */
const STALE_MS = 2000;

export interface PeerOptions {
  /** The clock's reading at the car's time 0. */
  readonly originMs?: number;
  /** Whether a meter has nothing to measure at a time of the car, seconds. */
  readonly isOff?: (id: string, atS: number) => boolean;
}

/**
 * The car's clamp and voltmeter as two Bluetooth peripherals that describe their values by the SIG's
 * standard. They live on whatever clock the link brings along.
 */
export function virtualPeers(car: VirtualCar, options: PeerOptions = {}): readonly ReplayPeer[] {
  const originMs = options.originMs ?? 0;
  const { clamp, voltmeter } = car.scenario;
  const isOff = (id: string) => (atS: number) => options.isOff?.(id, atS) ?? false;
  return [
    peerOf(createMeter(clamp, car, isOff('clamp')), originMs, {
      id: 'clamp',
      service: AUTOMATION_IO,
      characteristic: CLAMP_CURRENT,
      format: SINT24,
      unit: UNIT_AMPERE,
    }),
    peerOf(createMeter(voltmeter, car, isOff('voltmeter')), originMs, {
      id: 'voltmeter',
      service: AUTOMATION_IO,
      characteristic: ANALOG,
      format: UINT16,
      unit: UNIT_VOLT,
    }),
  ];
}

interface Profile {
  readonly id: string;
  readonly service: Uuid;
  readonly characteristic: Uuid;
  readonly format: number;
  readonly unit: Uuid;
}

function peerOf(meter: VirtualMeter, originMs: number, profile: Profile): ReplayPeer {
  const { spec } = meter;
  const ref: CharacteristicRef = {
    service: profile.service,
    characteristic: profile.characteristic,
    index: 0,
  };
  const secondsAt = (nowMs: number) => (nowMs - originMs) / 1000;
  const format: PresentationFormat = {
    format: profile.format,
    exponent: spec.scale,
    unit: shortOf(profile.unit)!,
    namespace: NAMESPACE_SIG,
    description: 0,
  };
  const bytesOf = (index: number) =>
    encodePresented(format, { counts: meter.counts(index), scale: spec.scale, flags: 0 });

  return {
    id: profile.id,
    name: spec.name,
    services: [profile.service],
    characteristics: [
      {
        ...ref,
        canRead: true,
        canNotify: true,
        canWrite: false,
        descriptors: [PRESENTATION_FORMAT],
        descriptorValues: [{ uuid: PRESENTATION_FORMAT, bytes: encodePresentationFormat(format) }],
      },
    ],
    inRange: (nowMs) => meter.inRange(secondsAt(nowMs)),
    connected: (air) => transmit(air, meter, originMs, (index) => air.notify(ref, bytesOf(index))),
    // The latest finished conversion; before the first has ended, that one.
    read: (_ref, nowMs) => bytesOf(Math.max(0, Math.floor(secondsAt(nowMs) / spec.intervalS + 1e-9) - 1)),
  };
}

/** Sends each conversion that ends from now on when the radio gets it through, until stopped or dropped. */
function transmit(air: ReplayAir, meter: VirtualMeter, originMs: number, send: (index: number) => void) {
  const { clock } = air;
  const waitUntil = (atS: number, run: () => void) => clock.after(originMs + atS * 1000 - clock.nowMs(), run);
  const startS = (clock.nowMs() - originMs) / 1000;
  const dropS = Math.min(
    ...meter.spec.radio.dropouts.map((d) => d.fromS).filter((s) => s >= startS),
    Infinity,
  );

  let cancelNext = () => {};
  const sendFrom = (index: number) => {
    let arrivalS = meter.arrivalS(index);
    while (arrivalS === null) arrivalS = meter.arrivalS(++index);
    const dueMs = originMs + arrivalS * 1000;
    cancelNext = waitUntil(arrivalS, () => {
      if (clock.nowMs() - dueMs > STALE_MS) {
        sendFrom(meter.indexAt((clock.nowMs() - originMs) / 1000));
        return;
      }
      send(index);
      sendFrom(index + 1);
    });
  };
  const cancelDrop = Number.isFinite(dropS)
    ? waitUntil(dropS, () => {
        cancelNext();
        air.drop('out of range');
      })
    : () => {};
  sendFrom(meter.indexAt(startS));

  return () => {
    cancelNext();
    cancelDrop();
  };
}
