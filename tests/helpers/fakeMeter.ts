import type { Cancel } from '../../drivers/core/clock.ts';
import { uuid16 } from '../../drivers/core/uuid.ts';
import type { ReplayAir, ReplayCharacteristic, ReplayPeer } from '../../drivers/links/replay/peer.ts';

const SERVICE = uuid16(0x1815);
const VOLTAGE = uuid16(0x2b18);
const CURRENT = uuid16(0x2aee);

/** A peripheral with the SIG's voltage and current characteristics that says what a test tells it to. */
export class FakeMeter implements ReplayPeer {
  readonly name: string;
  readonly services = [SERVICE];
  characteristics: readonly ReplayCharacteristic[];
  near = true;
  connects = 0;
  private air: ReplayAir | null = null;

  constructor(
    readonly id: string,
    { name = `Meter ${id}`, readable = true } = {},
  ) {
    this.name = name;
    this.characteristics = characteristicsOf(readable);
  }

  /** From the next connect on, no driver knows it, or one does again. */
  setReadable(readable: boolean): void {
    this.characteristics = characteristicsOf(readable);
  }

  get isConnected(): boolean {
    return this.air !== null;
  }

  inRange(): boolean {
    return this.near;
  }

  connected(air: ReplayAir): Cancel {
    this.connects++;
    this.air = air;
    return () => {
      this.air = null;
    };
  }

  read(): Uint8Array {
    return new Uint8Array(2);
  }

  /** Voltage in steps of 1/64 V (GATT Specification Supplement, Voltage). */
  sendVoltage(raw: number): void {
    this.send(VOLTAGE, Uint8Array.of(raw & 255, raw >> 8));
  }

  /** Current in steps of 0.01 A (GATT Specification Supplement, Electric Current). */
  sendCurrent(raw: number): void {
    this.send(CURRENT, Uint8Array.of(raw & 255, raw >> 8));
  }

  sendBroken(): void {
    this.send(VOLTAGE, Uint8Array.of(1));
  }

  drop(): void {
    this.air?.drop('out of range');
  }

  private send(characteristic: string, bytes: Uint8Array): void {
    this.air?.notify({ service: SERVICE, characteristic, index: 0 }, bytes);
  }
}

function characteristicsOf(readable: boolean): ReplayCharacteristic[] {
  return (readable ? [VOLTAGE, CURRENT] : [uuid16(0x2a00)]).map((characteristic) => ({
    service: SERVICE,
    characteristic,
    index: 0,
    canRead: true,
    canNotify: true,
    canWrite: false,
    descriptors: [],
    descriptorValues: [],
  }));
}
