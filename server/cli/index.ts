import { parseArgs } from 'node:util';
import { NightdrawError } from '../messages/errors.ts';
import { UsageError, type Command, type CommandContext, type ParsedArgs } from './command.ts';
import { VERSION } from './project.ts';

/** Every command, loaded only when it is asked for: a server's libraries are no part of an import. */
export const COMMANDS: Readonly<Record<string, () => Promise<Command>>> = {
  serve: async () => (await import('./serve.ts')).serveCommand,
  meters: async () => (await import('./meters.ts')).metersCommand,
  record: async () => (await import('./record.ts')).recordCommand,
  import: async () => (await import('./import.ts')).importCommand,
  analyse: async () => (await import('./analyse.ts')).analyseCommand,
  threshold: async () => (await import('./threshold.ts')).thresholdCommand,
  fuse: async () => (await import('./fuse.ts')).fuseCommand,
  compare: async () => (await import('./compare.ts')).compareCommand,
  export: async () => (await import('./export.ts')).exportCommand,
  report: async () => (await import('./report.ts')).reportCommand,
  seal: async () => (await import('./seal.ts')).sealCommand,
  timestamp: async () => (await import('./timestamp.ts')).timestampCommand,
  verify: async () => (await import('./verify.ts')).verifyCommand,
  backup: async () => (await import('./backup.ts')).backupCommand,
  restore: async () => (await import('./restore.ts')).restoreCommand,
};

/** Runs one command line. Returns the exit code: 0, 1 (looked and found wrong), 2 (bad use or bad input). */
export async function runCli(argv: readonly string[], context: CommandContext): Promise<number> {
  const [name, ...rest] = argv;
  try {
    if (name === undefined || name === '--help' || name === '-h' || name === 'help') {
      (name === undefined ? context.stderr : context.stdout)(await overview());
      return name === undefined ? 2 : 0;
    }
    if (name === '--version' || name === '-v') {
      context.stdout(`${VERSION}\n`);
      return 0;
    }
    if (!Object.hasOwn(COMMANDS, name))
      throw new UsageError(`There is no command "${name}"; nightdraw --help lists them.`);
    return await runCommand(await COMMANDS[name]!(), rest, context);
  } catch (error) {
    context.stderr(`${sentenceOf(error)}\n`);
    return 2;
  }
}

async function runCommand(
  command: Command,
  argv: readonly string[],
  context: CommandContext,
): Promise<number> {
  const args = argsOf(command, argv);
  if (args.values.help === true) {
    context.stdout(`nightdraw ${command.name}: ${command.summary}\n\n${command.usage}\n`);
    return 0;
  }
  return command.run(context, args);
}

function argsOf(command: Command, argv: readonly string[]): ParsedArgs {
  try {
    return parseArgs({
      args: joinNegativeNumbers(argv),
      options: { ...command.options, help: { type: 'boolean', short: 'h' } },
      allowPositionals: true,
    });
  } catch (error) {
    const said = error instanceof Error ? error.message.split(/\.\s|\n/)[0]! : String(error);
    throw new UsageError(`${said.replace(/\.$/, '')}; see nightdraw ${command.name} --help.`);
  }
}

/** "--temperature-c -5" as "--temperature-c=-5": the parser would take the number for an option. */
function joinNegativeNumbers(argv: readonly string[]): string[] {
  const out: string[] = [];
  for (const arg of argv) {
    const last = out.at(-1);
    if (/^-[\d.]/.test(arg) && last !== undefined && /^--[\w-]+$/.test(last))
      out[out.length - 1] = `${last}=${arg}`;
    else out.push(arg);
  }
  return out;
}

async function overview(): Promise<string> {
  const commands = await Promise.all(Object.values(COMMANDS).map((load) => load()));
  const width = Math.max(...commands.map((c) => c.name.length));
  return [
    "Nightdraw logs a car's 12 V battery voltage and key-off current through Bluetooth meters and says what the",
    'night shows about passive entry.',
    '',
    'Usage: nightdraw COMMAND [options]',
    '',
    ...commands.map((c) => `  ${c.name.padEnd(width)}  ${c.summary}`),
    '',
    'nightdraw COMMAND --help says more; nightdraw --version prints the version.',
    '',
  ].join('\n');
}

/** One sentence that says what is wrong; what nobody foresaw is named as such. */
function sentenceOf(error: unknown): string {
  if (error instanceof UsageError || error instanceof NightdrawError) return error.message;
  const what = error instanceof Error ? `${error.name}: ${error.message}` : String(error);
  return `Nightdraw failed in a way that it should not; please report this: ${what.split('\n')[0]}`;
}
