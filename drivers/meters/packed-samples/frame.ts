import { DriverError } from '../../core/errors.ts';
import { decodeUnsigned, encodeInteger } from '../../core/integers.ts';
import { HEAD } from './fields.ts';

/** One notification: samples at equal spacing, raw as their format says. */
export interface Packet {
  /** Counts packets, wraps at 65,536. */
  readonly number: number;
  /** Time of the end of the first sample's conversion, in ticks, wraps at 2^32. */
  readonly firstTick: number;
  readonly ticksApart: number;
  readonly samples: readonly Uint8Array[];
}

/** @throws DriverError wrong-length, bad-field */
export function decodePacket(bytes: Uint8Array, octetsPerSample: number): Packet {
  const body = bytes.length - HEAD.samples;
  if (body < octetsPerSample || body % octetsPerSample !== 0) {
    throw new DriverError('wrong-length', 'The packet does not hold a whole number of samples.');
  }
  const ticksApart = decodeUnsigned(bytes, HEAD.ticksApart, 2);
  if (ticksApart === 0 && body > octetsPerSample) {
    throw new DriverError('bad-field', 'The packet puts all its samples at one time.');
  }
  const samples: Uint8Array[] = [];
  for (let at: number = HEAD.samples; at < bytes.length; at += octetsPerSample) {
    samples.push(bytes.subarray(at, at + octetsPerSample));
  }
  return {
    number: decodeUnsigned(bytes, HEAD.number, 2),
    firstTick: decodeUnsigned(bytes, HEAD.firstTick, 4),
    ticksApart,
    samples,
  };
}

/** Mirror of `decodePacket`. */
export function encodePacket(packet: Packet): Uint8Array {
  return Uint8Array.from([
    ...encodeInteger(packet.number, 2, false),
    ...encodeInteger(packet.firstTick, 4, false),
    ...encodeInteger(packet.ticksApart, 2, false),
    ...packet.samples.flatMap((s) => [...s]),
  ]);
}
