#!/usr/bin/env node
import { runCli } from './cli/index.ts';

/** The program: puts the process around the command line. */
const stop = new AbortController();
for (const signal of ['SIGINT', 'SIGTERM'] as const) process.on(signal, () => stop.abort());
process.stdout.on('error', (error: NodeJS.ErrnoException) => {
  // The reader (head, less) has seen enough.
  if (error.code === 'EPIPE') process.exit(0);
  throw error;
});

process.exitCode = await runCli(process.argv.slice(2), {
  stdout: (text) => process.stdout.write(text),
  stderr: (text) => process.stderr.write(text),
  isTerminal: process.stderr.isTTY === true,
  env: process.env,
  cwd: process.cwd(),
  signal: stop.signal,
});
