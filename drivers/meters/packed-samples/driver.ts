import { channelKey } from '../../core/channelKey.ts';
import { sameRef, type Driver, type MeterChannel, type MeterReader } from '../../core/driver.ts';
import { DriverError } from '../../core/errors.ts';
import { decodePresented, selfDescription, type PresentationFormat } from '../../core/presentation.ts';
import { NUMBER_WRAP, PACKED_CHARACTERISTICS, PACKED_SERVICE, TICK_MS, TICK_WRAP } from './fields.ts';
import { decodePacket } from './frame.ts';

interface PackedChannel extends MeterChannel {
  readonly format: PresentationFormat;
  readonly octets: number;
  /** Whole turns of the tick counter so far, and its last value. */
  turns: number;
  lastTick: number;
  lastNumber: number | null;
}

/** Home-made meters that send packed samples with their own time (NOTES.md beside this file). */
export const packedSamples: Driver = {
  id: 'packed-samples',
  title: 'Packed samples with the meter’s own time',
  services: [{ uuid: PACKED_SERVICE, advertised: true }],
  open(profile): MeterReader | null {
    const channels: PackedChannel[] = [];
    for (const c of profile.characteristics) {
      const known = PACKED_CHARACTERISTICS.find((p) => p.uuid === c.characteristic);
      if (!known || c.service !== PACKED_SERVICE || !c.canNotify) continue;
      const described = selfDescription(c);
      if (described?.quantity !== known.quantity) continue;
      channels.push({
        key: channelKey(c.characteristic, channels),
        quantity: known.quantity,
        label: known.label,
        source: { service: c.service, characteristic: c.characteristic, index: c.index },
        step: described.step,
        format: described.format,
        octets: described.octets,
        turns: 0,
        lastTick: 0,
        lastNumber: null,
      });
    }
    if (channels.length === 0) return null;
    return {
      channels,
      sources: channels.map((c) => c.source),
      pollMs: 500,
      read(source, bytes) {
        const channel = channels.find((c) => sameRef(c.source, source));
        if (!channel)
          throw new DriverError('unknown-characteristic', 'This characteristic carries no packets.');
        const packet = decodePacket(bytes, channel.octets);
        const readings = packet.samples.map((s) => decodePresented(channel.format, s));
        const ahead = channel.lastNumber === null ? 1 : aheadOf(channel.lastNumber, packet.number);
        if (ahead <= 0) return []; // a double, or late
        channel.lastNumber = packet.number;
        if (packet.firstTick < channel.lastTick && channel.lastTick - packet.firstTick > TICK_WRAP / 2)
          channel.turns++;
        channel.lastTick = packet.firstTick;
        const first = channel.turns * TICK_WRAP + packet.firstTick;
        return readings.map((number, i) => ({
          key: channel.key,
          reading: { quantity: channel.quantity, ...number },
          meterMs: (first + i * packet.ticksApart) * TICK_MS,
          ...(i === 0 && ahead > 1 ? { afterLoss: true } : {}),
        }));
      },
    };
  },
};

/** How far `number` is ahead of `last` on the wrapping counter; zero or less: not at all. */
function aheadOf(last: number, number: number): number {
  const ahead = (number - last + NUMBER_WRAP) % NUMBER_WRAP;
  return ahead >= NUMBER_WRAP / 2 ? ahead - NUMBER_WRAP : ahead;
}
