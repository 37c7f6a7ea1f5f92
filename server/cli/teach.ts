import { readFile } from 'node:fs/promises';
import path from 'node:path';
import { z } from 'zod';
import { LONGEST_FRAME } from '../../drivers/teach/description.ts';
import { parseDisplay } from '../../drivers/teach/display.ts';
import { teach, type TeachingGlance } from '../../drivers/teach/teach.ts';
import { canonicalUuid } from '../../drivers/core/uuid.ts';
import type { MeterDescription } from '../../drivers/teach/description.ts';
import { UsageError, type CommandContext, type ParsedArgs } from './command.ts';
import { withStore } from './data.ts';

const lineSchema = z.strictObject({
  frame: z
    .string()
    .transform((text) => text.replace(/[\s:]/g, '').toLowerCase())
    .pipe(
      z
        .string()
        .regex(/^([0-9a-f]{2})+$/)
        .max(2 * LONGEST_FRAME),
    ),
  display: z.string(),
});

/**
 * `meters teach FRAMES.jsonl`: the meter description on stdout, sentences on stderr; with `--save` it is kept and used.
 * @returns 0 learned, 1 not (yet)
 * @throws UsageError bad use, or a line that cannot be read
 */
export async function runTeach(
  context: CommandContext,
  parsed: ParsedArgs,
  positionals: readonly string[],
): Promise<number> {
  const [file, ...others] = positionals;
  if (!file || others.length > 0)
    throw new UsageError('meters teach needs one file: meters teach FRAMES.jsonl');
  const naming = namingOf(parsed);
  const glances = parseLines(file, await textOf(path.resolve(context.cwd, file), file));
  const result = teach(glances);
  for (const reason of result.reasons) context.stderr(`${reason}\n`);
  if (result.state === 'ambiguous' && result.fits > 1)
    context.stderr(`Encodings that still fit: ${result.fits}.\n`);
  if (result.state === 'learned') context.stderr(`Learned from ${glances.length} glances.\n`);
  if (result.nextGlance) {
    const wish = result.state === 'learned' ? 'To widen what is known, show' : 'Show next';
    context.stderr(`${wish}: ${result.nextGlance}.\n`);
  }
  if (!result.description) return 1;
  const description: MeterDescription = { ...result.description, ...naming };
  context.stdout(`${JSON.stringify(description, null, 2)}\n`);
  if (parsed.values.save === true) {
    const { id } = withStore(context, parsed, (store) => store.addTaughtMeter(description));
    context.stderr(`Kept as ${id}; serve and record read this meter from now on.\n`);
  }
  return 0;
}

/** Which meter it is: what the frames themselves do not say. */
function namingOf({ values }: ParsedArgs): Partial<MeterDescription> {
  const { service, characteristic, name, title } = values;
  if ((service === undefined) !== (characteristic === undefined))
    throw new UsageError('--service and --characteristic go together.');
  if (values.save === true && service === undefined)
    throw new UsageError(
      '--save needs --service and --characteristic, so that no other meter is taken for it.',
    );
  return {
    ...(service !== undefined && {
      source: { service: uuidOf(service), characteristic: uuidOf(characteristic) },
    }),
    ...(typeof name === 'string' && { nameStartsWith: name.slice(0, 40) }),
    ...(typeof title === 'string' && title.trim() !== '' && { title: title.trim().slice(0, 80) }),
  };
}

function uuidOf(value: unknown): string {
  try {
    return canonicalUuid(String(value));
  } catch {
    throw new UsageError(`"${String(value)}" is no Bluetooth UUID.`);
  }
}

async function textOf(absolute: string, file: string): Promise<string> {
  try {
    return await readFile(absolute, 'utf8');
  } catch {
    throw new UsageError(`${file} cannot be read.`);
  }
}

function parseLines(file: string, text: string): TeachingGlance[] {
  const glances: TeachingGlance[] = [];
  text.split('\n').forEach((line, i) => {
    if (line.trim() === '') return;
    const where = `${file} line ${i + 1}`;
    const parsed = lineSchema.safeParse(parseJson(line, where));
    if (!parsed.success) {
      throw new UsageError(
        `${where}: expected {"frame":"hex","display":"12.63 V"}, up to ${LONGEST_FRAME} octets.`,
      );
    }
    const { frame, display } = parsed.data;
    const shown = parseDisplay(display);
    if (typeof shown === 'string') throw new UsageError(`${where}: ${shown}`);
    const first = glances[0]?.frame.length;
    if (first !== undefined && first !== frame.length / 2) {
      throw new UsageError(`${where}: the frame has ${frame.length / 2} octets, the first has ${first}.`);
    }
    glances.push({ frame: Uint8Array.from(Buffer.from(frame, 'hex')), display });
  });
  if (glances.length === 0) throw new UsageError(`${file} holds no frames.`);
  return glances;
}

function parseJson(line: string, where: string): unknown {
  try {
    return JSON.parse(line);
  } catch {
    throw new UsageError(`${where}: not JSON.`);
  }
}
