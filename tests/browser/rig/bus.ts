import { mkdtempSync, rmSync } from 'node:fs';
import { createServer, type Socket } from 'node:net';
import { tmpdir } from 'node:os';
import path from 'node:path';
import { decodeMessage, encodeMessage, type Message } from './message.ts';

export const BUS = 'org.freedesktop.DBus';
const SERVICE = 'org.bluez';
const OWNER = ':1.0';

export interface Reply {
  readonly signature: string;
  readonly body: readonly unknown[];
}
/** An error reply: its D-Bus name and a text. */
export class BusError extends Error {
  constructor(
    readonly errorName: string,
    message: string,
  ) {
    super(message);
  }
}

/** A call to org.bluez. Resolves to the reply; a promise that stays open is a service that never answers. */
export type CallHandler = (call: Message) => Reply | null | Promise<Reply | null>;

/** A system bus with one service on it, org.bluez, answered by this process. */
export class Bus {
  private readonly directory = mkdtempSync(path.join(tmpdir(), 'nightdraw-bus-'));
  private readonly socketPath = path.join(this.directory, 'bus');
  private readonly clients = new Map<Socket, string>();
  private readonly server = createServer((socket) => this.accept(socket));
  private serial = 0;
  private clientCount = 0;

  constructor(private readonly handle: CallHandler) {}

  /** For DBUS_SYSTEM_BUS_ADDRESS. */
  get address(): string {
    return `unix:path=${this.socketPath}`;
  }

  async start(): Promise<void> {
    await new Promise<void>((resolve) => this.server.listen(this.socketPath, resolve));
  }

  async stop(): Promise<void> {
    for (const socket of this.clients.keys()) socket.destroy();
    await new Promise<void>((resolve) => this.server.close(() => resolve()));
    rmSync(this.directory, { recursive: true, force: true });
  }

  signal(objectPath: string, iface: string, member: string, signature: string, body: unknown[]): void {
    const bytes = encodeMessage({
      type: 'signal',
      serial: ++this.serial,
      path: objectPath,
      interface: iface,
      member,
      sender: OWNER,
      signature,
      body,
    });
    for (const [socket, name] of this.clients) if (name !== '') socket.write(bytes);
  }

  private accept(socket: Socket): void {
    let authenticated = false;
    let waiting = Buffer.alloc(0);
    this.clients.set(socket, '');
    socket.on('close', () => this.clients.delete(socket));
    socket.on('error', () => socket.destroy());
    socket.on('data', (chunk) => {
      waiting = Buffer.concat([waiting, chunk]);
      while (!authenticated) {
        if (waiting[0] === 0) waiting = waiting.subarray(1);
        const end = waiting.indexOf('\r\n');
        if (end < 0) return;
        const line = waiting.toString('latin1', 0, end);
        waiting = waiting.subarray(end + 2);
        if (line.startsWith('AUTH EXTERNAL')) socket.write('OK 0123456789abcdef0123456789abcdef\r\n');
        else if (line.startsWith('AUTH')) socket.write('REJECTED EXTERNAL\r\n');
        else if (line === 'BEGIN') authenticated = true;
        else socket.write('ERROR\r\n');
      }
      for (let next = decodeMessage(waiting); next; next = decodeMessage(waiting)) {
        waiting = waiting.subarray(next.length);
        if (next.message.type === 'call') void this.answer(socket, next.message);
      }
    });
  }

  private async answer(socket: Socket, call: Message): Promise<void> {
    const toBus = call.destination === BUS;
    const head = {
      serial: 0,
      replySerial: call.serial,
      sender: toBus ? BUS : OWNER,
      destination: this.clients.get(socket) ?? '',
    };
    try {
      const reply = toBus ? this.busCall(socket, call) : await this.serviceCall(call);
      if (call.noReply || socket.destroyed) return;
      socket.write(
        encodeMessage({
          ...head,
          type: 'reply',
          serial: ++this.serial,
          destination: this.clients.get(socket) ?? '',
          signature: reply?.signature ?? '',
          body: reply?.body ?? [],
        }),
      );
    } catch (error) {
      if (!(error instanceof BusError)) throw error;
      if (call.noReply || socket.destroyed) return;
      socket.write(
        encodeMessage({
          ...head,
          type: 'error',
          serial: ++this.serial,
          error: error.errorName,
          signature: 's',
          body: [error.message],
        }),
      );
    }
  }

  private serviceCall(call: Message): Reply | null | Promise<Reply | null> {
    if (call.destination !== SERVICE && call.destination !== OWNER)
      throw new BusError(`${BUS}.Error.ServiceUnknown`, call.destination ?? '');
    return this.handle(call);
  }

  private busCall(socket: Socket, call: Message): Reply | null {
    const name = call.body[0];
    switch (call.member ?? '') {
      case 'Hello': {
        const own = `:1.${++this.clientCount}`;
        this.clients.set(socket, own);
        return { signature: 's', body: [own] };
      }
      case 'NameHasOwner':
        return { signature: 'b', body: [name === SERVICE] };
      case 'GetNameOwner':
        if (name === SERVICE) return { signature: 's', body: [OWNER] };
        throw new BusError(`${BUS}.Error.NameHasNoOwner`, String(name));
      case 'RequestName':
        return { signature: 'u', body: [1] };
      case 'ListNames':
        return { signature: 'as', body: [[BUS, SERVICE]] };
      case 'ListActivatableNames':
        return { signature: 'as', body: [[]] };
      case 'AddMatch':
      case 'RemoveMatch':
        return null;
      default:
        throw new BusError(`${BUS}.Error.ServiceUnknown`, call.member ?? '');
    }
  }
}
