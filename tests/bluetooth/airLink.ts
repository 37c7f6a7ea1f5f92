import { processClock } from '../../drivers/links/node/clock.ts';
import { STATUS } from './hci.ts';

/** Data length of one packet on the air without the length extension. */
const PAYLOAD = 27;
/** Packets that either side sends in one connection event. */
const PER_EVENT = 6;

export interface Fragment {
  readonly first: boolean;
  readonly bytes: Buffer;
}

export interface AirLinkOptions {
  readonly intervalMs: number;
  readonly supervisionMs: number;
  readonly reachable: () => boolean;
  readonly toHost: (fragment: Fragment) => void;
  /** So many of the host's packets have left the controller's buffers. */
  readonly hostSent: (packets: number) => void;
  /** A whole L2CAP frame has arrived at the peripheral. */
  readonly toPeripheral: (frame: Buffer) => void;
  /** Once; `status` as the host will read it. */
  readonly onEnd: (status: number) => void;
}

/** One connection on the air: packets move at connection events only, both ways, in order. */
export class AirLink {
  private readonly fromHost: { readonly fragment: Fragment; readonly last: boolean }[] = [];
  private readonly fromPeripheral: Fragment[] = [];
  private partial: Buffer = Buffer.alloc(0);
  private over = false;
  private lastHeardMs = processClock.nowMs();
  private dueMs = processClock.nowMs();
  private timer: NodeJS.Timeout | undefined;

  constructor(private readonly options: AirLinkOptions) {
    this.schedule();
  }

  /** One ACL packet of the host's. */
  hostSends(packet: Fragment): void {
    const parts = split(packet.bytes);
    parts.forEach((bytes, i) =>
      this.fromHost.push({
        fragment: { first: packet.first && i === 0, bytes },
        last: i === parts.length - 1,
      }),
    );
  }

  /** One L2CAP frame of the peripheral's. */
  peripheralSends(frame: Buffer): void {
    split(frame).forEach((bytes, i) => this.fromPeripheral.push({ first: i === 0, bytes }));
  }

  end(status: number): void {
    if (this.over) return;
    this.over = true;
    clearTimeout(this.timer);
    this.options.onEnd(status);
  }

  private schedule(): void {
    this.dueMs += this.options.intervalMs;
    this.timer = setTimeout(
      () => {
        // The air does not wait for this process's event loop: make up for events that are overdue.
        for (;;) {
          this.connectionEvent();
          if (this.over || this.dueMs + this.options.intervalMs > processClock.nowMs()) break;
          this.dueMs += this.options.intervalMs;
        }
        if (!this.over) this.schedule();
      },
      Math.max(0, this.dueMs - processClock.nowMs()),
    );
  }

  private connectionEvent(): void {
    const nowMs = processClock.nowMs();
    if (!this.options.reachable()) {
      if (nowMs - this.lastHeardMs > this.options.supervisionMs) this.end(STATUS.supervisionTimeout);
      return;
    }
    this.lastHeardMs = nowMs;
    const sent = this.fromHost.splice(0, PER_EVENT);
    const packets = sent.filter((s) => s.last).length;
    for (const { fragment } of sent) this.assemble(fragment);
    if (packets > 0) this.options.hostSent(packets);
    for (const fragment of this.fromPeripheral.splice(0, PER_EVENT)) {
      if (!this.over) this.options.toHost(fragment);
    }
  }

  private assemble({ first, bytes }: Fragment): void {
    this.partial = first ? bytes : Buffer.concat([this.partial, bytes]);
    // Core Specification, Vol 3, Part A, 3.1: two bytes of length, two of channel, then so many bytes.
    if (this.over || this.partial.length < 4) return;
    if (this.partial.length === this.partial.readUInt16LE(0) + 4) this.options.toPeripheral(this.partial);
  }
}

function split(bytes: Buffer): Buffer[] {
  const parts: Buffer[] = [];
  for (let at = 0; at < bytes.length; at += PAYLOAD) {
    parts.push(Buffer.from(bytes.subarray(at, at + PAYLOAD)));
  }
  return parts;
}
