import { readFile } from 'node:fs/promises';
import path from 'node:path';
import { z } from 'zod';
import { LONGEST_FRAME } from '../../drivers/teach/description.ts';
import { parseDisplay } from '../../drivers/teach/display.ts';
import { teach, type TeachingGlance } from '../../drivers/teach/teach.ts';
import { UsageError, type CommandContext } from './command.ts';

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
 * `meters teach FRAMES.jsonl`: the meter description on stdout, sentences on stderr.
 * @returns 0 learned, 1 not (yet)
 * @throws UsageError bad use, or a line that cannot be read
 */
export async function runTeach(context: CommandContext, args: readonly string[]): Promise<number> {
  const [file, ...others] = args;
  if (!file || others.length > 0)
    throw new UsageError('meters teach needs one file: meters teach FRAMES.jsonl');
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
  context.stdout(`${JSON.stringify(result.description, null, 2)}\n`);
  return 0;
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
