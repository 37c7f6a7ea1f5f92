import { createServer, request, type IncomingMessage, type OutgoingHttpHeaders } from 'node:http';
import { connect, type AddressInfo, type Socket } from 'node:net';
import { documentFor } from './pageServer.ts';

/**
 * One origin for the bench: a script of ours in an empty page at /bench, everything else from the server
 * behind it, spoken to as that server's own page. The way between can be cut.
 */
export class FrontDoor {
  private readonly sockets = new Set<Socket>();
  private blocked = false;
  private readonly server = createServer((incoming, outgoing) => {
    if (incoming.url?.startsWith('/bench')) {
      const isScript = incoming.url.endsWith('.js');
      outgoing.setHeader('content-type', isScript ? 'text/javascript' : 'text/html; charset=utf-8');
      outgoing.end(isScript ? this.script : documentFor('/bench/page.js'));
      return;
    }
    const onward = request(this.onward(incoming), (answer) => {
      outgoing.writeHead(answer.statusCode ?? 502, answer.headers);
      answer.pipe(outgoing);
    });
    onward.on('error', () => outgoing.destroy());
    incoming.pipe(onward);
  });

  /** @param serverPort port of the server behind, asked anew for every request */
  constructor(
    private readonly serverPort: () => number,
    private readonly script: string,
  ) {
    this.server.on('connection', (socket) => this.track(socket));
    this.server.on('upgrade', (incoming: IncomingMessage, socket: Socket, head: Buffer) => {
      if (this.blocked) return void socket.destroy();
      const onward = connect(this.serverPort(), '127.0.0.1', () => {
        const { headers, path } = this.onward(incoming);
        const lines = Object.entries(headers).map(([name, value]) => `${name}: ${String(value)}`);
        onward.write(`GET ${path} HTTP/1.1\r\n${lines.join('\r\n')}\r\n\r\n`);
        onward.write(head);
        onward.pipe(socket);
        socket.pipe(onward);
      });
      this.track(onward);
      onward.on('close', () => socket.destroy());
      socket.on('close', () => onward.destroy());
    });
  }

  async start(): Promise<void> {
    await new Promise<void>((resolve) => this.server.listen(0, '127.0.0.1', resolve));
  }

  get url(): string {
    return `http://127.0.0.1:${(this.server.address() as AddressInfo).port}/`;
  }

  /** Ends every connection at once, and refuses sockets until `mend`. */
  cut(): void {
    this.blocked = true;
    for (const socket of this.sockets) socket.destroy();
  }

  mend(): void {
    this.blocked = false;
  }

  async close(): Promise<void> {
    this.cut();
    await new Promise<void>((resolve) => this.server.close(() => resolve()));
  }

  private track(socket: Socket): void {
    this.sockets.add(socket);
    socket.on('error', () => socket.destroy());
    socket.on('close', () => this.sockets.delete(socket));
  }

  private onward(incoming: IncomingMessage): {
    host: string;
    port: number;
    method: string;
    path: string;
    headers: OutgoingHttpHeaders;
  } {
    const port = this.serverPort();
    const host = `127.0.0.1:${port}`;
    const headers: OutgoingHttpHeaders = { ...incoming.headers, host };
    if (incoming.headers.origin) headers.origin = `http://${host}`;
    return {
      host: '127.0.0.1',
      port,
      method: incoming.method ?? 'GET',
      path: incoming.url ?? '/',
      headers,
    };
  }
}
