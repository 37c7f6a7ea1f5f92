import type { Clock } from '../../drivers/core/clock.ts';
import { encodeInteger } from '../../drivers/core/integers.ts';
import { uuid16 } from '../../drivers/core/uuid.ts';
import type { ReplayAir, ReplayPeer } from '../../drivers/links/replay/peer.ts';
import {
  NUMBER_WRAP,
  PACKED_CHARACTERISTICS,
  PACKED_SERVICE,
  TICK_MS,
  TICK_WRAP,
} from '../../drivers/meters/packed-samples/fields.ts';
import { encodePacket } from '../../drivers/meters/packed-samples/frame.ts';
import { encodePresentationFormat } from '../../drivers/core/presentation.ts';

const CURRENT = PACKED_CHARACTERISTICS.find((c) => c.quantity === 'current')!;
const REF = { service: PACKED_SERVICE, characteristic: CURRENT.uuid, index: 0 };
const AMPERE = 0x2704;
const SINT16 = 14;
/** The meter's own clock started long before ours; its zero is nobody's business. */
const METER_ZERO_MS = 123_456;

export interface PackedMeterOptions {
  readonly clock: Clock;
  /** Samples in one packet, one millisecond apart. */
  readonly perPacket: number;
  readonly name?: string;
  /** How much faster than true time the meter's crystal runs, 1e-6 for each ppm. */
  readonly drift?: number;
}

/**
 * The home-made meter of packed samples: 1000 a second of current in milliamperes, where sample number k
 * reads k modulo 10,000 and is made k milliseconds after the connection, so that a test knows of each
 * reading which one it is and when it was made.
 */
export class PackedMeter {
  readonly peer: ReplayPeer;
  readonly channelKey: string;
  /** When sample 0 was made, on the clock. */
  startMs = 0;
  private air: ReplayAir | null = null;
  private wasStarted = false;
  private next = 0;
  private number = 65_530; // so that it soon wraps
  private toLose = 0;

  constructor(private readonly options: PackedMeterOptions) {
    this.channelKey = `${CURRENT.uuid.replaceAll('-', '')}.0`;
    const format = { format: SINT16, exponent: -3, unit: AMPERE, namespace: 1, description: 0 };
    this.peer = {
      id: 'packed',
      name: options.name ?? 'Shunt',
      services: [PACKED_SERVICE],
      characteristics: [
        {
          ...REF,
          canRead: false,
          canNotify: true,
          canWrite: false,
          descriptors: [uuid16(0x2904)],
          descriptorValues: [{ uuid: uuid16(0x2904), bytes: encodePresentationFormat(format) }],
        },
      ],
      inRange: () => true,
      connected: (air) => {
        this.air = air;
        return () => (this.air = null);
      },
      read: () => Uint8Array.of(),
    };
  }

  /** Samples that have gone into packets so far, lost ones among them. */
  get sampled(): number {
    return this.next;
  }

  static readonly ref = REF;

  /** What a reading of `counts` must be, the nearest to `nearMs`: the time at which it was made. */
  truthMs(counts: number, nearMs: number): number {
    const turns = Math.round((nearMs - this.startMs - counts) / 10_000);
    return this.startMs + counts + turns * 10_000;
  }

  /** The next packets are made but not sent. */
  lose(packets: number): void {
    this.toLose = packets;
  }

  drop(): void {
    this.air?.drop('out of range');
  }

  /** Sends every packet whose last sample has been made by now. The meter starts with the first connection. */
  sendDue(): void {
    const { clock, perPacket } = this.options;
    if (!this.wasStarted) {
      if (this.air === null) return;
      this.wasStarted = true;
      this.startMs = clock.nowMs();
    }
    while (this.startMs + this.next + perPacket - 1 <= clock.nowMs()) this.sendNext();
  }

  /** Sends the next packet, whether or not its samples are due. */
  sendNext(): void {
    const { perPacket, drift = 0 } = this.options;
    const first = this.next;
    this.next += perPacket;
    this.number = (this.number + 1) % NUMBER_WRAP;
    if (this.toLose > 0) {
      this.toLose--;
      return;
    }
    const ticks = Math.round(((METER_ZERO_MS + first) * (1 + drift)) / TICK_MS);
    const bytes = encodePacket({
      number: this.number,
      firstTick: ticks % TICK_WRAP,
      ticksApart: Math.round(1 / TICK_MS),
      samples: Array.from({ length: perPacket }, (_, i) => encodeInteger((first + i) % 10_000, 2, true)),
    });
    this.air?.notify(REF, bytes);
  }
}
