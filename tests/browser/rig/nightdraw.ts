import { spawn, type ChildProcess } from 'node:child_process';
import { existsSync, mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import path from 'node:path';

const PROGRAM = new URL('../../../.build/server/main.js', import.meta.url).pathname;

/** The built server, as a person starts it, with a data folder of its own that outlives restarts. */
export class Nightdraw {
  readonly data = mkdtempSync(path.join(tmpdir(), 'nightdraw-data-'));
  private child: ChildProcess | null = null;
  /** 0 before the first start. */
  port = 0;

  get url(): string {
    return `http://127.0.0.1:${this.port}/`;
  }

  /** Starts it, after the first time on the same port again. */
  async start(): Promise<void> {
    if (!existsSync(PROGRAM)) throw new Error('the server is not built: run "npm run build" first');
    const child = spawn(
      process.execPath,
      [PROGRAM, 'serve', '--port', String(this.port), '--data', this.data],
      {
        stdio: ['ignore', 'pipe', 'pipe'],
      },
    );
    this.child = child;
    this.port = await new Promise<number>((resolve, reject) => {
      let said = '';
      const listen = (chunk: Buffer): void => {
        said += chunk.toString();
        const port = /http:\/\/127\.0\.0\.1:(\d+)\//.exec(said)?.[1];
        if (port) resolve(Number(port));
      };
      child.stdout.on('data', listen);
      child.stderr.on('data', (chunk: Buffer) => (said += chunk.toString()));
      child.once('exit', () => reject(new Error(`the server ended: ${said}`)));
    });
  }

  /** As a crash or a power cut ends it. */
  kill(): Promise<void> {
    return this.end('SIGKILL');
  }

  async close(): Promise<void> {
    await this.end('SIGTERM');
    rmSync(this.data, { recursive: true, force: true });
  }

  private async end(signal: NodeJS.Signals): Promise<void> {
    const child = this.child;
    this.child = null;
    if (!child || child.exitCode !== null) return;
    const ended = new Promise<void>((resolve) => child.once('exit', () => resolve()));
    child.kill(signal);
    await ended;
  }

  async get<T>(route: string): Promise<T> {
    return (await this.request(route)).json() as Promise<T>;
  }

  async post<T>(route: string, body: unknown): Promise<T> {
    const init = {
      method: 'POST',
      headers: { 'content-type': 'application/json' },
      body: JSON.stringify(body),
    };
    return (await this.request(route, init)).json() as Promise<T>;
  }

  async text(route: string): Promise<string> {
    return (await this.request(route)).text();
  }

  private async request(route: string, init?: RequestInit): Promise<Response> {
    const response = await fetch(`${this.url}api/${route}`, init);
    if (!response.ok) throw new Error(`${route}: ${response.status} ${await response.text()}`);
    return response;
  }
}
