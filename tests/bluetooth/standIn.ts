/**
 * Loaded into a program before all else (`--require`, once compiled): it answers the radio library's request
 * for its native socket with one that leads to a virtual adapter in another process. NIGHTDRAW_RIG names the
 * folder where that adapter keeps its socket and its state. Everything else of the program stays as it is.
 */
import { EventEmitter } from 'node:events';
import { readFileSync } from 'node:fs';
import Module from 'node:module';
import net from 'node:net';
import path from 'node:path';
import type { AdapterState } from './rig.ts';

const folder = process.env['NIGHTDRAW_RIG'] ?? '';
const CREATE_CONNECTION = 0x200d;
/** Packets of the rig's own, which no controller sends. */
const HANG = 0xf0;
const CRASH = 0xf1;
const HELLO = 0xf2;

function state(): AdapterState {
  return JSON.parse(readFileSync(path.join(folder, 'state.json'), 'utf8')) as AdapterState;
}

function systemError(code: string, text: string, syscall: string): Error {
  return Object.assign(new Error(`${code}, ${text}`), { code, syscall });
}

/** Stops this whole process, as a blocking call in native code does. */
function block(ms: number): void {
  Atomics.wait(new Int32Array(new SharedArrayBuffer(4)), 0, 0, ms);
}

class StandInSocket extends EventEmitter {
  private socket: net.Socket | null = null;
  private filter: Buffer | null = null;
  private flowing = false;

  constructor() {
    super();
    if (!state().supported) {
      throw systemError('EAFNOSUPPORT', 'Address family not supported by protocol', 'socket');
    }
  }

  bindRaw(): number {
    if (!state().present) throw systemError('ENODEV', 'No such device', 'bind');
    this.socket = net.connect(path.join(folder, 'hci'));
    this.socket.on('error', () => process.exit(1)); // the rig is gone
    this.send(Buffer.concat([Buffer.from([HELLO]), Buffer.from(String(process.pid))]));
    let waiting = Buffer.alloc(0);
    this.socket.on('data', (chunk) => {
      waiting = Buffer.concat([waiting, chunk]);
      while (waiting.length >= 2 && waiting.length >= 2 + waiting.readUInt16LE(0)) {
        const end = 2 + waiting.readUInt16LE(0);
        const packet = Buffer.from(waiting.subarray(2, end));
        waiting = waiting.subarray(end);
        this.receive(packet);
      }
    });
    return 0;
  }

  isDevUp(): boolean {
    const { present, up } = state();
    return present && up;
  }

  setFilter(filter: Buffer): void {
    this.filter = Buffer.from(filter);
  }

  start(): void {
    this.flowing = true;
  }

  stop(): void {
    this.flowing = false;
  }

  cleanup(): void {
    // nothing is kept
  }

  write(packet: Buffer): void {
    const { allowed, up, connectBlocksMs } = state();
    if (!allowed) {
      this.emit('error', systemError('EPERM', 'Operation not permitted', 'write'));
    } else if (!up) {
      this.emit('error', systemError('ENETDOWN', 'Network is down', 'write'));
    } else {
      if (packet[0] === 1 && packet.readUInt16LE(1) === CREATE_CONNECTION) block(connectBlocksMs);
      this.send(packet);
    }
  }

  private send(packet: Buffer): void {
    const head = Buffer.alloc(2);
    head.writeUInt16LE(packet.length);
    this.socket?.write(Buffer.concat([head, packet]));
  }

  private receive(packet: Buffer): void {
    if (packet[0] === HANG) return block(Infinity);
    if (packet[0] === CRASH) process.kill(process.pid, 'SIGKILL');
    if (this.flowing && this.passes(packet)) this.emit('data', packet);
  }

  /** The kernel's filter: packet types, then event codes; until one is set nothing passes. */
  private passes(packet: Buffer): boolean {
    if (!this.filter) return false;
    const has = (offset: number, bit: number): boolean =>
      (this.filter!.readUInt32LE(offset) & (1 << bit)) !== 0;
    if (!has(0, packet[0]!)) return false;
    if (packet[0] !== 4) return true;
    const code = packet[1]! & 63;
    return has(code < 32 ? 4 : 8, code % 32);
  }
}

const loader = Module as unknown as { _load: (request: string, ...rest: unknown[]) => unknown };
const load = loader._load;
loader._load = function (request, ...rest) {
  if (request !== '@abandonware/bluetooth-hci-socket') return load.call(this, request, ...rest);
  if (!state().installed) {
    throw Object.assign(new Error(`Cannot find module '${request}'`), { code: 'MODULE_NOT_FOUND' });
  }
  return StandInSocket;
};
// Elsewhere than on Linux this makes the library drive a controller itself, too.
if (process.platform !== 'linux') {
  process.env['BLUETOOTH_HCI_SOCKET_USB_VID'] ??= '1';
  process.env['BLUETOOTH_HCI_SOCKET_USB_PID'] ??= '1';
}
