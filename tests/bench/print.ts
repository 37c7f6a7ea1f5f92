import { arch, cpus, loadavg, platform, release, totalmem } from 'node:os';
import { figure, type Row, type Table } from './bench.ts';

export interface Machine {
  readonly processor: string;
  readonly cores: number;
  readonly memoryGiB: number;
  readonly system: string;
  readonly node: string;
  /** UTC day of the run. */
  readonly day: string;
  /** Programs that wanted the processor in the last quarter of an hour, this one among them; 0 where not known. */
  readonly load: number;
}

export interface Run {
  readonly machine: Machine;
  readonly days: number;
  readonly seconds: number;
  readonly topics: readonly {
    readonly topic: string;
    readonly tables: readonly Table[];
    readonly seconds: number;
  }[];
}

export function machine(): Machine {
  return {
    processor: cpus()[0]?.model.trim() ?? 'unknown',
    cores: cpus().length,
    memoryGiB: Math.round(totalmem() / 2 ** 30),
    system: `${platform()} ${release()} ${arch()}`,
    node: process.version,
    day: new Date().toISOString().slice(0, 10),
    load: loadavg()[2]!,
  };
}

/** A table for a terminal. */
export function textOf(table: Table): string {
  const cells = [['', ...table.columns, ''], ...table.rows.map(cellsOf)];
  const widths = cells[0]!.map((_, i) => Math.max(...cells.map((row) => row[i]!.length)));
  const lines = cells.map((row) =>
    row
      .map((text, i) =>
        i === 0 || i === row.length - 1 ? text.padEnd(widths[i]!) : text.padStart(widths[i]!),
      )
      .join('  ')
      .trimEnd(),
  );
  const targets = table.targets.map(
    ({ what, wanted, got, met }) => `${met ? 'met' : 'NOT MET'}: ${what}, ${wanted}: ${got}`,
  );
  return (
    [table.title, ...lines, ...targets].map((line, i) => (i === 0 ? line : `  ${line}`)).join('\n') + '\n'
  );
}

function cellsOf({ name, kind, cells, note }: Row): string[] {
  return [
    kind === 'ours' ? `* ${name}` : `  ${name}`,
    ...cells.map((x) => (x === null ? '-' : figure(x))),
    [kind === 'limit' ? 'limit' : '', note ?? ''].filter(Boolean).join('; '),
  ];
}

export function markdownOf({ machine: m, days, topics }: Run): string {
  const seconds = topics.reduce((sum, topic) => sum + topic.seconds, 0);
  const lines = [
    '# Figures of the benchmark',
    '',
    'Written by `npm run bench -- --markdown tests/bench/RESULTS.md`. Rows in bold are this program; the others are what a user',
    'would reach for instead, given the same readings in the same run, or what no program can be better than. Timings',
    'depend on the machine and on what else it does; what counts are the ratios.',
    '',
    `${m.processor}, ${m.cores} cores, ${m.memoryGiB} GiB, ${m.system}, Node ${m.node}; ${m.day}, ${figure(m.load)} programs at work; ${days} days at 10 readings a second; ${Math.round(seconds)} s.`,
    '',
  ];
  for (const table of topics.flatMap((topic) => topic.tables)) {
    lines.push(`## ${table.title}`, '');
    lines.push(`| | ${table.columns.join(' | ')} | |`, `|---|${'---:|'.repeat(table.columns.length)}---|`);
    for (const row of table.rows) {
      const [, ...cells] = cellsOf(row);
      lines.push(`| ${row.kind === 'ours' ? `**${row.name}**` : row.name} | ${cells.join(' | ')} |`);
    }
    lines.push('');
    for (const { what, wanted, got, met } of table.targets)
      lines.push(`- ${met ? 'met' : '**not met**'}: ${what}, ${wanted}: ${got}`);
    if (table.targets.length > 0) lines.push('');
  }
  return lines.join('\n');
}
