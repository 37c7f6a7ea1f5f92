import { mkdirSync, mkdtempSync, readFileSync, renameSync, rmSync, writeFileSync } from 'node:fs';
import net from 'node:net';
import os from 'node:os';
import path from 'node:path';
import ts from 'typescript';
import type { Clock } from '../../drivers/core/clock.ts';
import { processClock } from '../../drivers/links/node/clock.ts';
import { Adapter } from './adapter.ts';
import { COMMAND, PACKET, u16 } from './hci.ts';
import { Peripheral, type PeripheralOptions } from './peripheral.ts';

/** What a program on the rig finds without asking the adapter. */
export interface AdapterState {
  /** The native part of the radio library can be loaded. */
  readonly installed: boolean;
  /** The system knows Bluetooth at all. */
  readonly supported: boolean;
  readonly present: boolean;
  readonly up: boolean;
  readonly allowed: boolean;
  /** A connect blocks the whole program for so long, as the real one does for an absent meter. */
  readonly connectBlocksMs: number;
}

export type OnRig = Omit<PeripheralOptions, 'adapter' | 'address' | 'clock'>;

export interface RigOptions {
  readonly peripherals?: readonly OnRig[];
  readonly clock?: Clock;
  readonly state?: Partial<AdapterState>;
}

export interface Rig {
  /**
   * Environment in which any Node program, and every process that it starts, finds this rig's adapter:
   * NODE_OPTIONS loads the stand-in for the native socket, NIGHTDRAW_RIG names this rig's folder.
   */
  readonly env: Readonly<Record<string, string>>;
  readonly adapter: Adapter;
  /** Process id of the program that now holds the adapter. */
  programPid(): number | null;
  /** By its peer's id; its `address` is the meter's id on the node link. */
  peripheral(peerId: string): Peripheral;
  add(options: OnRig): Peripheral;
  set(state: Partial<AdapterState>): void;
  /** Another program stops the scan; `silently` without the command being seen. */
  stopScanElsewhere(silently?: boolean): void;
  /** So many addresses are heard once each, as in a busy street. */
  crowd(addresses: number): void;
  /** The radio process stops answering for good, or ends, at this moment. */
  hangProgram(): void;
  crashProgram(): void;
  close(): Promise<void>;
}

/** Packets of the rig's own; see standIn.ts. */
const HANG = 0xf0;
const CRASH = 0xf1;
const HELLO = 0xf2;

const NORMAL: AdapterState = {
  installed: true,
  supported: true,
  present: true,
  up: true,
  allowed: true,
  connectBlocksMs: 0,
};

/** A virtual adapter with peripherals on its air, for programs in other processes. */
export async function startRig(options: RigOptions = {}): Promise<Rig> {
  const folder = mkdtempSync(path.join(os.tmpdir(), 'nightdraw-rig-'));
  const standIn = compileStandIn(folder);
  const clock = options.clock ?? processClock;
  const adapter = new Adapter();
  const peripherals = new Map<string, Peripheral>();
  let program: net.Socket | null = null;
  let pid: number | null = null;
  let state: AdapterState = NORMAL;

  function set(change: Partial<AdapterState>): void {
    state = { ...state, ...change };
    const next = path.join(folder, 'state.next.json');
    writeFileSync(next, JSON.stringify(state));
    renameSync(next, path.join(folder, 'state.json')); // a reader sees the old or the new, never half
    if (adapter.up !== (state.up && state.present)) adapter.setUp(state.up && state.present);
  }

  function send(socket: net.Socket, packet: Buffer): void {
    if (socket.writable) socket.write(Buffer.concat([u16(packet.length), packet]));
  }

  const server = net.createServer((socket) => {
    program?.destroy();
    program = socket;
    pid = null;
    adapter.hostArrives((packet) => send(socket, packet));
    let waiting = Buffer.alloc(0);
    socket.on('data', (chunk) => {
      waiting = Buffer.concat([waiting, chunk]);
      while (waiting.length >= 2 && waiting.length >= 2 + waiting.readUInt16LE(0)) {
        const end = 2 + waiting.readUInt16LE(0);
        const packet = Buffer.from(waiting.subarray(2, end));
        if (packet[0] === HELLO) pid = Number(packet.subarray(1).toString());
        else adapter.fromHost(packet);
        waiting = waiting.subarray(end);
      }
    });
    socket.on('error', () => undefined); // 'close' follows
    socket.on('close', () => {
      if (program !== socket) return;
      program = null;
      pid = null;
      adapter.hostLeaves();
    });
  });
  await new Promise<void>((resolve, reject) => {
    server.once('error', reject);
    server.listen(path.join(folder, 'hci'), resolve);
  });
  set(options.state ?? {});

  const rig: Rig = {
    env: {
      NODE_OPTIONS: `${process.env['NODE_OPTIONS'] ?? ''} --require "${standIn}"`.trim(),
      NIGHTDRAW_RIG: folder,
    },
    adapter,
    programPid: () => pid,
    peripheral(peerId) {
      const found = peripherals.get(peerId);
      if (!found) throw new Error(`no peripheral ${peerId} on this rig`);
      return found;
    },
    add(added) {
      const address = `c0:de:00:00:00:${(peripherals.size + 1).toString(16).padStart(2, '0')}`;
      const peripheral = new Peripheral({ ...added, adapter, address, clock });
      peripherals.set(added.peer.id, peripheral);
      return peripheral;
    },
    set,
    stopScanElsewhere(silently = false) {
      adapter.stopScan();
      const command = Buffer.concat([
        Buffer.from([PACKET.command]),
        u16(COMMAND.leSetScanEnable),
        Buffer.from([2, 0, 0]),
      ]);
      if (program && !silently) send(program, command);
    },
    crowd(addresses) {
      for (let i = 0; i < addresses; i++) {
        const hex = (0xe00000000000 + i).toString(16).match(/../g)!.join(':');
        const advert = { address: hex, rssi: -80, data: Buffer.from([2, 1, 6]), peripheral: null };
        adapter.heard({ ...advert, response: Buffer.from([2, 9, 0x78]) });
      }
    },
    hangProgram: () => program && send(program, Buffer.from([HANG])),
    crashProgram: () => program && send(program, Buffer.from([CRASH])),
    async close() {
      for (const peripheral of peripherals.values()) peripheral.remove();
      program?.destroy();
      await new Promise((resolve) => server.close(resolve));
      rmSync(folder, { recursive: true, force: true });
    },
  };
  for (const added of options.peripherals ?? []) rig.add(added);
  return rig;
}

/** `--require` takes CommonJS, so the stand-in is compiled to that, once for each rig. */
function compileStandIn(folder: string): string {
  const source = readFileSync(new URL('./standIn.ts', import.meta.url), 'utf8');
  const { outputText } = ts.transpileModule(source, {
    compilerOptions: {
      module: ts.ModuleKind.CommonJS,
      target: ts.ScriptTarget.ES2023,
      esModuleInterop: true,
    },
  });
  mkdirSync(folder, { recursive: true });
  const file = path.join(folder, 'stand-in.cjs');
  writeFileSync(file, outputText);
  return file;
}
