import { runCli } from '../../server/cli/index.ts';

export interface Ran {
  readonly code: number;
  readonly stdout: string;
  readonly stderr: string;
}

export interface Running {
  readonly done: Promise<Ran>;
  /** What it has written so far. */
  readonly stdout: () => string;
  readonly stderr: () => string;
  /** As Ctrl-C does. */
  interrupt(): void;
}

/** Runs `nightdraw ...` in this process. */
export function startCommand(argv: readonly string[], env: Record<string, string> = {}): Running {
  const stop = new AbortController();
  let stdout = '';
  let stderr = '';
  const done = runCli(argv, {
    stdout: (text) => void (stdout += text),
    stderr: (text) => void (stderr += text),
    isTerminal: false,
    env,
    cwd: process.cwd(),
    signal: stop.signal,
  }).then((code) => ({ code, stdout, stderr }));
  return { done, stdout: () => stdout, stderr: () => stderr, interrupt: () => stop.abort() };
}

export function runCommand(argv: readonly string[], env: Record<string, string> = {}): Promise<Ran> {
  return startCommand(argv, env).done;
}
