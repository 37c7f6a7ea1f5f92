import { runCli } from '../../server/cli/index.ts';

export interface Outcome {
  readonly code: number;
  readonly out: string;
  readonly err: string;
}

/** Runs one command line in this process, as the program would in the folder `cwd`, whose data folder is `data`. */
export async function nightdrawIn(cwd: string, ...argv: string[]): Promise<Outcome> {
  let out = '';
  let err = '';
  const code = await runCli(argv, {
    stdout: (text) => (out += text),
    stderr: (text) => (err += text),
    isTerminal: false,
    env: { NIGHTDRAW_DATA: 'data' },
    cwd,
    signal: new AbortController().signal,
  });
  return { code, out, err };
}
