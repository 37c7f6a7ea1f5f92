import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import path from 'node:path';
import { parseArgs } from 'node:util';
import { instantsOf, type Ground } from './bench.ts';
import { month, type Month } from './month.ts';
import { machine, markdownOf, textOf, type Run } from './print.ts';
import { TOPICS } from './topics.ts';

/**
 * npm run bench -- [--json FILE] [--markdown FILE] [--only TOPIC,...] [--days N] [--nights N]
 * [--keep RUN.json]
 * Prints a table for each topic. Figures depend on the machine; what counts are the ratios within one topic. With
 * --keep, what is not measured now is taken from an earlier run.
 */
const { values } = parseArgs({
  options: {
    json: { type: 'string' },
    markdown: { type: 'string' },
    only: { type: 'string' },
    days: { type: 'string', default: '30' },
    nights: { type: 'string', default: '8' },
    keep: { type: 'string' },
  },
});
const only = values.only?.split(',');
const days = Number(values.days);
if (!(days > 0 && days <= 30)) throw new RangeError('--days needs a number above 0 and up to 30');
const nights = Number(values.nights);
if (!(Number.isInteger(nights) && nights > 0)) throw new RangeError('--nights needs a whole number above 0');

const folder = mkdtempSync(path.join(tmpdir(), 'nightdraw-bench-'));
const say = (text: string) => void process.stderr.write(`${text}\n`);
const started = performance.now();
try {
  const ground: Ground = { folder, days, nights, month: monthOf(instantsOf(days)), say };
  const tables: Run['topics'][number][] = [];
  const earlier = values.keep === undefined ? null : (JSON.parse(readFileSync(values.keep, 'utf8')) as Run);
  for (const load of TOPICS) {
    const topic = await load();
    if (only !== undefined && !only.includes(topic.name)) {
      tables.push(...(earlier?.topics.filter((kept) => kept.topic === topic.name) ?? []));
      continue;
    }
    const from = performance.now();
    say(`${topic.name} ...`);
    const measured = await topic.run(ground);
    tables.push({ topic: topic.name, tables: measured, seconds: (performance.now() - from) / 1000 });
    process.stdout.write(`${measured.map(textOf).join('\n')}\n`);
  }
  const run: Run = {
    machine: machine(),
    days,
    seconds: (performance.now() - started) / 1000,
    topics: tables,
  };
  say(`${Math.round(run.seconds)} s in all`);
  if (values.json !== undefined) writeFileSync(values.json, `${JSON.stringify(run, null, 2)}\n`);
  if (values.markdown !== undefined) writeFileSync(values.markdown, markdownOf(run));
} finally {
  rmSync(folder, { recursive: true, force: true });
}

/** The whole month is made at the first call and shared by all. */
function monthOf(longest: number): (instants: number) => Month {
  let made: Month | null = null;
  return (instants) => {
    if (instants > longest) throw new RangeError('the month is shorter');
    made ??= month(longest, 30);
    return {
      t: made.t.subarray(0, instants),
      current: made.current.subarray(0, instants),
      voltage: made.voltage.subarray(0, instants),
    };
  };
}
