import { fileURLToPath } from 'node:url';
import type { Cancel, Clock } from '../../core/clock.ts';
import { LinkError } from '../../core/errors.ts';
import type { Connection, FindOptions, Link, ListenOptions } from '../../core/link.ts';
import { withTimeLimit } from '../../core/timeLimit.ts';
import { processClock } from './clock.ts';
import { holdConnection, LINK_DIED, type HeldConnection } from './connection.ts';
import { createRadioHost } from './host.ts';
import type { Answer, FromChild, Opened, ToChild } from './protocol.ts';
import { problemOf, type BluetoothStatus } from './status.ts';

export interface NodeLinkOptions {
  /** Must be on the time base of `processClock`, which is the default. */
  readonly clock?: Clock;
  /** Longest time for one read, write or subscription, milliseconds. */
  readonly stepTimeoutMs?: number; // 8_000
  /** Longest wait for the adapter's first word. */
  readonly powerOnMs?: number; // 8_000
  readonly pingEveryMs?: number; // 1_000
  /** Silence at which the radio process is replaced ... */
  readonly hangAfterMs?: number; // 6_000
  /** ... and while a connect is under way, which can block it for about 41 s. */
  readonly connectHangAfterMs?: number; // 50_000
  /** An idle radio process that has grown by so much is replaced: the library never frees what it has seen. */
  readonly memoryGrowthBytes?: number; // 150e6
  readonly childPath?: string;
  /** Node options of the radio process only. */
  readonly childExecArgv?: readonly string[];
  /** Added to this process's own environment. */
  readonly childEnv?: Readonly<Record<string, string>>;
}

export interface NodeLink extends Link {
  readonly kind: 'node';
  listen(options: ListenOptions): Promise<void>;
  /** Starts the radio process now rather than at the first request, so that `status` becomes known. */
  start(): void;
  /** The same, and resolves once the radio can be used. @throws LinkError with the status's sentence */
  ready(): Promise<void>;
  status(): BluetoothStatus;
  onStatus(listener: (status: BluetoothStatus) => void): Cancel;
  /** Disconnects all meters and ends the radio process. */
  close(): Promise<void>;
}

/** The answer of the radio process has this long to arrive after its own time is up. */
const IPC_MS = 100;

// Tests run this file as it stands, but a process of its own needs the built one.
const BUILT_CHILD = import.meta.url.endsWith('.ts') ? '../../../.build/server/child.js' : './child.js';

interface Entry {
  readonly id: string;
  held: HeldConnection | null;
}

/** A find or a listen that is under way. */
type Waiting<T> = T & { readonly fail: (error: LinkError) => void };

/**
 * Meters over this computer's own radio. The radio library has a process of its own; what goes wrong there
 * ends as a LinkError here, and its absence as a status.
 */
export function createNodeLink(options: NodeLinkOptions = {}): NodeLink {
  const clock = options.clock ?? processClock;
  const stepMs = options.stepTimeoutMs ?? 8_000;
  const hangAfterMs = options.hangAfterMs ?? 6_000;
  const connectHangAfterMs = options.connectHangAfterMs ?? 50_000;
  const finds = new Set<Waiting<FindOptions>>();
  const listens = new Set<Waiting<ListenOptions>>();
  const connections = new Map<number, Entry>();
  const unanswered = new Map<number, { resolve: (answer: Answer) => void; reject: (e: LinkError) => void }>();
  /** Connects that the radio process has not answered, whether or not anybody still waits for them. */
  const connecting = new Set<number>();
  let lastNumber = 0;
  let closed = false;

  const host = createRadioHost({
    clock,
    stepMs,
    childPath: options.childPath ?? fileURLToPath(new URL(BUILT_CHILD, import.meta.url)),
    execArgv: options.childExecArgv ?? [],
    env: { ...process.env, ...options.childEnv },
    powerOnMs: options.powerOnMs ?? 8_000,
    pingEveryMs: options.pingEveryMs ?? 1_000,
    memoryGrowthBytes: options.memoryGrowthBytes ?? 150e6,
    allowedSilenceMs() {
      // A connect that blocks is worth waiting for while somebody waits for it, or while others would be lost.
      const awaited = [...connecting].every((connection) => connections.has(connection));
      const othersLive = [...connections.values()].some((c) => c.held !== null);
      return connecting.size > 0 && (awaited || othersLive) ? connectHangAfterMs : hangAfterMs;
    },
    isIdle: () => connections.size === 0,
    onMessage: receive,
    onLost() {
      for (const { reject } of [...unanswered.values()]) reject(lost());
      for (const { held } of [...connections.values()]) held?.dropped(LINK_DIED, 'unknown');
    },
  });

  host.onStatus((status) => {
    if (status.state === 'ready') sendScan();
    if (status.state === 'unavailable')
      for (const wait of [...finds, ...listens]) wait.fail(problemOf(status));
  });

  function sendScan(): void {
    if (host.status().state !== 'ready') return;
    host.send({ kind: 'scan', on: finds.size > 0 });
    host.send({ kind: 'listen', services: [...new Set([...listens].flatMap((l) => l.services))] });
  }

  function receive(message: FromChild): void {
    switch (message.kind) {
      case 'seen':
        for (const { services, onSeen } of [...finds]) {
          if (services.length === 0 || message.meter.services.some((s) => services.includes(s))) {
            onSeen(message.meter);
          }
        }
        return;
      case 'heard': {
        const { advertisement } = message;
        for (const { services, onAdvertisement } of [...listens]) {
          if (advertisement.serviceData.some((d) => services.includes(d.uuid)))
            onAdvertisement(advertisement);
        }
        return;
      }
      case 'done':
        return unanswered.get(message.request)?.resolve(message.answer);
      case 'failed':
        return unanswered.get(message.request)?.reject(new LinkError(message.code, message.sentence));
      case 'bytes':
        return connections.get(message.connection)?.held?.received(message.at, message.bytes, message.atMs);
      case 'dropped':
        return connections.get(message.connection)?.held?.dropped(message.reason, message.endedBy);
      case 'status':
      case 'pong':
        return; // the host's
    }
  }

  /**
   * Sends a request; settles with what `take` makes of its answer, or when the radio process is gone. `take`
   * runs before the next message is looked at.
   */
  function ask<T>(message: Unnumbered<Request>, take: (answer: Answer) => T): Promise<T> {
    const request = ++lastNumber;
    return new Promise<T>((resolve, reject) => {
      const answered = (): void => {
        unanswered.delete(request);
        if (message.kind === 'connect') connecting.delete(message.connection);
      };
      unanswered.set(request, {
        resolve(answer) {
          answered();
          resolve(take(answer));
        },
        reject(error) {
          answered();
          reject(error);
        },
      });
      if (message.kind === 'connect') connecting.add(message.connection);
      if (!host.send({ ...message, request })) unanswered.get(request)!.reject(lost());
    });
  }

  /** null: given up in the meantime. */
  function hold(connection: number, opened: Opened): Connection | null {
    const entry = connections.get(connection);
    if (!entry) return null;
    entry.held = holdConnection({
      ...opened,
      ask(message) {
        const limit = { clock, ms: stepMs + IPC_MS, what: WHAT[message.kind] };
        return withTimeLimit(
          ask({ ...message, connection }, (answer) => answer),
          limit,
        );
      },
      onEnd: () => connections.delete(connection),
    });
    return entry.held.connection;
  }

  /** Goes on over restarts of the radio process; ends when called off or when the radio cannot be used. */
  async function untilAborted<T extends FindOptions | ListenOptions>(
    all: Set<Waiting<T>>,
    wanted: T,
  ): Promise<void> {
    if (wanted.signal.aborted) return;
    let onAbort: () => void = () => undefined;
    let waiting: Waiting<T> | null = null;
    const ended = new Promise<void>((resolve, reject) => {
      waiting = { ...wanted, fail: reject };
      onAbort = resolve;
      all.add(waiting);
      wanted.signal.addEventListener('abort', onAbort);
      host.ready().then(sendScan, reject);
    });
    try {
      await ended;
    } finally {
      wanted.signal.removeEventListener('abort', onAbort);
      if (waiting) all.delete(waiting);
      sendScan();
    }
  }

  return {
    kind: 'node',

    find: (wanted) => untilAborted(finds, wanted),
    listen: (wanted) => untilAborted(listens, wanted),

    async connect(id, { timeoutMs, signal }) {
      if (signal.aborted) throw new LinkError('aborted', 'Connecting was called off.');
      if ([...connections.values()].some((c) => c.id === id)) {
        throw new LinkError('refused', 'This meter is connected already.');
      }
      const connection = ++lastNumber;
      const byMs = clock.nowMs() + timeoutMs;
      connections.set(connection, { id, held: null });
      const opening = host.ready().then(() => {
        const leftMs = Math.max(0, byMs - clock.nowMs() - IPC_MS);
        return ask({ kind: 'connect', connection, id, timeoutMs: leftMs }, (opened) =>
          hold(connection, opened as Opened),
        );
      });
      try {
        const limit = { clock, ms: timeoutMs, what: 'Connecting to the meter', signal };
        return (await withTimeLimit(opening, limit))!;
      } catch (error) {
        connections.delete(connection);
        ask({ kind: 'close', connection }, () => null).catch(() => undefined);
        throw error;
      }
    },

    start: () => void host.ready().catch(() => undefined),
    ready: () => host.ready(),
    status: () => host.status(),
    onStatus: (listener) => host.onStatus(listener),

    async close() {
      if (closed) return;
      closed = true;
      for (const { held } of [...connections.values()]) held?.dropped('Bluetooth was closed.', 'unknown');
      for (const wait of [...finds, ...listens]) wait.fail(new LinkError('aborted', 'Bluetooth was closed.'));
      await host.close();
      const over = new LinkError('aborted', 'Bluetooth was closed.');
      for (const { reject } of [...unanswered.values()]) reject(over);
    },
  };
}

function lost(): LinkError {
  return new LinkError('link-died', 'The Bluetooth process stopped and is being replaced.');
}

type Request = Extract<ToChild, { request: number }>;
type Unnumbered<T> = T extends unknown ? Omit<T, 'request'> : never;

const WHAT = {
  read: 'Reading',
  readDescriptor: 'Reading',
  write: 'Writing',
  subscribe: 'Subscribing',
  close: 'Disconnecting',
} as const;
