import { createAbort } from '../../core/abort.ts';
import type { Cancel, Clock } from '../../core/clock.ts';
import { LinkError } from '../../core/errors.ts';
import { withTimeLimit } from '../../core/timeLimit.ts';
import type { FromChild, ToChild } from './protocol.ts';
import { startRadioProcess, type RadioProcess, type RadioProcessEnd } from './radioProcess.ts';
import { problemOf, STARTING, unavailable, type BluetoothStatus } from './status.ts';

/** A process that ends sooner than this after its start counts as failed. */
const STABLE_AFTER_MS = 10_000;
const BACKOFF_MS = { first: 500, longest: 30_000 };
/** After so many failures in a row the adapter is said not to answer. */
const PATIENCE = 3;
const STOP_LIMIT_MS = 3000;

export interface RadioHostOptions {
  readonly clock: Clock;
  readonly childPath: string;
  readonly execArgv: readonly string[];
  readonly env: NodeJS.ProcessEnv;
  readonly stepMs: number;
  readonly powerOnMs: number;
  readonly pingEveryMs: number;
  /** Growth of its memory since it became ready at which an idle process is replaced. */
  readonly memoryGrowthBytes: number;
  readonly allowedSilenceMs: () => number;
  /** Nothing would be lost if the process were replaced now. */
  readonly isIdle: () => boolean;
  readonly onMessage: (message: FromChild) => void;
  /** A process that was up is gone, and all that it held. */
  readonly onLost: () => void;
}

export interface RadioHost {
  /** Starts the process where there is none; resolves when the radio is ready. @throws LinkError */
  ready(): Promise<void>;
  /** false: there is no process to send it to. */
  send(message: ToChild): boolean;
  status(): BluetoothStatus;
  onStatus(listener: (status: BluetoothStatus) => void): Cancel;
  close(): Promise<void>;
}

/** Keeps a radio process going: one at a time, started when first needed, replaced when it fails. */
export function createRadioHost(options: RadioHostOptions): RadioHost {
  const { clock } = options;
  const listeners = new Set<(status: BluetoothStatus) => void>();
  const closing = createAbort();
  let status = STARTING;
  let radio: RadioProcess | null = null;
  let startedMs = 0;
  let wasReady = false;
  let baseBytes: number | null = null;
  let failures = 0;
  let cancelRestart: Cancel = () => undefined;

  function setStatus(next: BluetoothStatus): void {
    if (next.state === status.state && next.sentence === status.sentence) return;
    status = next;
    for (const listener of [...listeners]) listener(next);
  }

  function start(): void {
    cancelRestart();
    startedMs = clock.nowMs();
    wasReady = false;
    baseBytes = null;
    // A process that follows a switched-off adapter will say itself whether that has changed.
    if (status.reason !== 'adapter-off' && failures < PATIENCE) setStatus(STARTING);
    radio = startRadioProcess({ ...options, onMessage: receive, onGone: gone });
  }

  function receive(message: FromChild): void {
    if (message.kind === 'pong') return watchMemory(message.rssBytes);
    if (message.kind !== 'status') return options.onMessage(message);
    setStatus(message.status);
    if (message.status.state === 'ready') wasReady = true;
    // Only a process that has lost nothing can wait for its adapter to be switched on; any other is done.
    else if (wasReady || message.status.reason !== 'adapter-off') {
      radio?.kill();
      gone({ hung: false, lastWords: '' });
    }
  }

  function watchMemory(rssBytes: number): void {
    if (!wasReady) return;
    baseBytes ??= rssBytes;
    if (rssBytes - baseBytes < options.memoryGrowthBytes || !options.isIdle()) return;
    radio?.kill();
    options.onLost();
    start();
  }

  function gone({ hung, lastWords }: RadioProcessEnd): void {
    if (closing.signal.aborted) return;
    radio = null;
    failures = clock.nowMs() - startedMs < STABLE_AFTER_MS ? failures + 1 : 1;
    options.onLost();
    const saidWhy = !hung && status.state === 'unavailable';
    if (!saidWhy && (!wasReady || failures >= PATIENCE)) {
      const silent = unavailable('not-answering', process.platform);
      setStatus(
        lastWords ? { ...silent, sentence: `${silent.sentence} (${lastWords.slice(0, 200)})` } : silent,
      );
    } else if (status.state === 'ready') {
      setStatus(STARTING);
    }
    // What never worked is tried again at the next request, what did at once or after a pause.
    if (!wasReady) return;
    if (failures === 1) return start();
    cancelRestart = clock.after(Math.min(BACKOFF_MS.first * 2 ** failures, BACKOFF_MS.longest), start);
  }

  const host: RadioHost = {
    ready() {
      return new Promise((resolve, reject) => {
        const closed = (): void => reject(new LinkError('aborted', 'Bluetooth was closed.'));
        if (closing.signal.aborted) return closed();
        if (!radio) start();
        const stops: Cancel[] = [];
        const look = (): void => {
          if (status.state === 'starting') return;
          for (const stop of stops) stop();
          if (status.state === 'ready') resolve();
          else reject(problemOf(status));
        };
        stops.push(host.onStatus(look), () => closing.signal.removeEventListener('abort', closed));
        closing.signal.addEventListener('abort', closed);
        look();
      });
    },
    send(message) {
      radio?.send(message);
      return radio !== null;
    },
    status: () => status,
    onStatus(listener) {
      listeners.add(listener);
      return () => void listeners.delete(listener);
    },
    async close() {
      if (closing.signal.aborted) return;
      closing.abort();
      cancelRestart();
      const last = radio;
      radio = null;
      if (!last) return;
      last.send({ kind: 'stop' });
      await withTimeLimit(last.exited, { clock, ms: STOP_LIMIT_MS, what: 'Stopping Bluetooth' }).catch(
        () => undefined,
      );
      last.kill();
    },
  };
  return host;
}
