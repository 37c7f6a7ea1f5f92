import type { CharacteristicRef } from '../../../drivers/core/link.ts';
import { uuid16 } from '../../../drivers/core/uuid.ts';
import type { ReplayAir, ReplayPeer } from '../../../drivers/links/replay/peer.ts';

/** Automation IO, Analog: self-described as a sint32 in microvolts. */
const ANALOG: CharacteristicRef = { service: uuid16(0x1815), characteristic: uuid16(0x2a58), index: 0 };
const SINT32_MICROVOLT = Uint8Array.of(0x10, 0xfa, 0x28, 0x27, 0x01, 0x00, 0x00);
export const VOLTS_A_COUNT = 1e-6;

/**
 * A voltmeter whose readings are 1, 2, 3, ... microvolts, so that one lost on the way leaves a hole and one
 * stored twice shows. It counts only what it has sent to somebody who listens.
 */
export class CountingMeter {
  /** The last reading that went out. */
  sent = 0;
  inRange = true;
  /** Told of each reading as it goes out. */
  onSend: (count: number) => void = () => undefined;
  private air: ReplayAir | null = null;
  private timer: NodeJS.Timeout | null = null;
  readonly peer: ReplayPeer;

  constructor(
    name: string,
    private readonly isHeard: () => boolean,
  ) {
    this.peer = {
      id: name,
      name,
      services: [ANALOG.service],
      characteristics: [
        {
          ...ANALOG,
          canRead: false,
          canNotify: true,
          canWrite: false,
          descriptors: [uuid16(0x2904)],
          descriptorValues: [{ uuid: uuid16(0x2904), bytes: SINT32_MICROVOLT }],
        },
      ],
      inRange: () => this.inRange,
      connected: (air) => {
        this.air = air;
        return () => (this.air = null);
      },
      read: () => Uint8Array.of(),
    };
  }

  static readonly ref = ANALOG;

  start(perSecond: number): void {
    this.stop();
    const begunMs = performance.now();
    let due = 0;
    this.timer = setInterval(() => {
      const until = Math.floor(((performance.now() - begunMs) / 1000) * perSecond);
      for (; due < until; due++) this.send();
    }, 5);
  }

  stop(): void {
    if (this.timer) clearInterval(this.timer);
    this.timer = null;
  }

  send(): void {
    if (!this.air || !this.isHeard()) return;
    const bytes = Buffer.alloc(4);
    bytes.writeInt32LE(++this.sent);
    this.onSend(this.sent);
    this.air.notify(ANALOG, bytes);
  }

  drop(): void {
    this.air?.drop('out of range');
  }
}
