import type { ParseArgsConfig } from 'node:util';

/** Where a command writes and what surrounds it; injected so that tests can run commands in-process. */
export interface CommandContext {
  readonly stdout: (text: string) => void;
  readonly stderr: (text: string) => void;
  readonly isTerminal: boolean;
  readonly env: Readonly<Record<string, string | undefined>>;
  readonly cwd: string;
  /** Aborted on SIGINT / SIGTERM. */
  readonly signal: AbortSignal;
}

export interface ParsedArgs {
  readonly values: Readonly<Record<string, string | boolean | (string | boolean)[] | undefined>>;
  readonly positionals: readonly string[];
}

/** One command, one file. `run` resolves to the exit code: 0, 1 (looked and found wrong), 2 (bad use or input). */
export interface Command {
  readonly name: string;
  readonly summary: string;
  /** The lines of `--help` after the summary. */
  readonly usage: string;
  readonly options: NonNullable<ParseArgsConfig['options']>;
  run(context: CommandContext, args: ParsedArgs): Promise<number>;
}

/** Bad use or bad input: printed as one sentence on stderr, exit code 2. */
export class UsageError extends Error {
  override readonly name = 'UsageError';
}
