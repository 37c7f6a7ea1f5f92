import { fork, type ChildProcess } from 'node:child_process';
import { parseFromChild, type FromChild, type ToChild } from './protocol.ts';

/** Loading the library takes its time on a small or busy computer. */
const START_LIMIT_MS = 30_000;

export interface RadioProcessOptions {
  readonly childPath: string;
  readonly execArgv: readonly string[];
  readonly env: NodeJS.ProcessEnv;
  readonly stepMs: number;
  readonly powerOnMs: number;
  readonly pingEveryMs: number;
  /** How long the process, once it has been heard, may be silent just now, milliseconds. */
  readonly allowedSilenceMs: () => number;
  readonly onMessage: (message: FromChild) => void;
  /** Once: it has ended, was ended for not answering ('hung'), or could not be started. */
  readonly onGone: (end: RadioProcessEnd) => void;
}

export interface RadioProcessEnd {
  readonly hung: boolean;
  /** Last line that it wrote before it ended; '' when it wrote nothing. */
  readonly lastWords: string;
}

export interface RadioProcess {
  readonly pid: number | undefined;
  send(message: ToChild): void;
  /** Ends it now; nothing more is heard of it, `onGone` included. */
  kill(): void;
  /** Resolves when it has exited. */
  readonly exited: Promise<void>;
}

/** Starts the radio process and watches over it: whatever happens to it, this process goes on. */
export function startRadioProcess(options: RadioProcessOptions): RadioProcess {
  const child = fork(options.childPath, [String(options.stepMs), String(options.powerOnMs)], {
    execArgv: [...options.execArgv],
    env: options.env,
    serialization: 'advanced',
    // Its standard output would end up in the middle of ours.
    stdio: ['ignore', 'ignore', 'pipe', 'ipc'],
  });
  let over = false;
  let lastWords = '';
  let heard = true;
  let wasHeard = false;
  let silentTicks = 0;

  const exited = new Promise<void>((resolve) => {
    child.once('exit', () => resolve());
    child.once('error', () => resolve()); // could not be started
  });

  // Counted in ticks, not by the clock: while this process itself was busy nobody is to blame.
  const watch = setInterval(() => {
    silentTicks = heard ? 0 : silentTicks + 1;
    heard = false;
    const allowedMs = wasHeard ? options.allowedSilenceMs() : START_LIMIT_MS;
    if (silentTicks * options.pingEveryMs >= allowedMs) return end(true);
    send({ kind: 'ping' });
  }, options.pingEveryMs);

  function end(hung: boolean): void {
    if (over) return;
    stop();
    options.onGone({ hung, lastWords: lastWords.trim().split('\n').at(-1) ?? '' });
  }

  function stop(): void {
    over = true;
    clearInterval(watch);
    child.kill('SIGKILL');
  }

  function send(message: ToChild): void {
    // An error here means that the channel is closing; 'exit' follows and says the rest.
    if (child.connected) child.send(message, () => undefined);
  }

  keepTail(child, (tail) => (lastWords = tail));
  child.on('message', (raw) => {
    heard = wasHeard = true;
    const message = over ? null : parseFromChild(raw);
    if (message) options.onMessage(message);
  });
  child.once('exit', () => end(false));
  child.once('error', () => end(false));

  return { pid: child.pid, send, kill: stop, exited };
}

function keepTail(child: ChildProcess, onTail: (tail: string) => void): void {
  let tail = '';
  child.stderr?.setEncoding('utf8').on('data', (text: string) => {
    tail = (tail + text).slice(-2000);
    onTail(tail);
  });
}
