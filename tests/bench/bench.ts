import { readFileSync } from 'node:fs';
import type { Month } from './month.ts';

/**
 * One topic of the benchmark, in a file of its own: it measures what it is about, beside what a user would reach for
 * instead, in one run and on the same readings. Listed in topics.ts.
 */
export interface Topic {
  /** One word: `npm run bench -- --only NAME` runs it alone. */
  readonly name: string;
  run(ground: Ground): Table[] | Promise<Table[]>;
}

/** What the topics of one run share. */
export interface Ground {
  /** A folder of its own for the run; it is removed afterwards. */
  readonly folder: string;
  /** Days of readings, ten a second: 30 unless `--days N` says less. */
  readonly days: number;
  /** Seeded nights of each kind that the findings are held against: few, unless `--nights N` says more. */
  readonly nights: number;
  /** The first so many instants of the run's month (month.ts), made once; views, not copies. */
  month(instants: number): Month;
  /** Says on stderr what goes on. */
  say(text: string): void;
}

/** Instants of so many days at ten a second. */
export function instantsOf(days: number): number {
  return Math.round(days * 864_000);
}

export interface Table {
  readonly title: string;
  /** What the figures are, each with its unit: "median ms", "bytes an instant". */
  readonly columns: readonly string[];
  readonly rows: readonly Row[];
  readonly targets: readonly Target[];
}

export interface Row {
  readonly name: string;
  /** What this program does, what a user would reach for instead, or what no program can be better than. */
  readonly kind: 'ours' | 'peer' | 'limit';
  /** As many as there are columns; null where a figure has no meaning. */
  readonly cells: readonly (number | null)[];
  /** For example the share of the readings that a slow peer was given. */
  readonly note?: string;
}

/** What was asked for, and what came out. */
export interface Target {
  readonly what: string;
  readonly wanted: string;
  readonly got: string;
  readonly met: boolean;
}

/** A target whose figure is to be at most, or at least, so much. */
export function target(what: string, got: number, sign: '<=' | '>=', limit: number, unit: string): Target {
  const wanted = `${sign === '<=' ? 'at most' : 'at least'} ${figure(limit)} ${unit}`;
  return { what, wanted, got: `${figure(got)} ${unit}`, met: sign === '<=' ? got <= limit : got >= limit };
}

/** Three significant digits, thousands apart. */
export function figure(x: number): string {
  if (!Number.isFinite(x)) return String(x);
  const digits = x === 0 ? 0 : Math.max(0, 2 - Math.floor(Math.log10(Math.abs(x))));
  const rounded = Number(x.toPrecision(3));
  return rounded.toLocaleString('en-GB', {
    minimumFractionDigits: digits > 6 ? 0 : digits,
    maximumFractionDigits: Math.min(digits, 6),
  });
}

export interface Timed<T> {
  /** Of the processor, all threads of this process: what the work costs however busy the machine is. */
  readonly seconds: number;
  /** On the wall. */
  readonly wall: number;
  readonly result: T;
}

export function timed<T>(work: () => T): Timed<T> {
  const end = stopwatch();
  const result = work();
  return { ...end(), result };
}

/** The same for work that is waited for. */
export async function timedAsync<T>(work: () => Promise<T>): Promise<Timed<T>> {
  const end = stopwatch();
  const result = await work();
  return { ...end(), result };
}

function stopwatch(): () => { seconds: number; wall: number } {
  const from = performance.now();
  const before = process.cpuUsage();
  return () => {
    const { user, system } = process.cpuUsage(before);
    return { seconds: (user + system) / 1e6, wall: (performance.now() - from) / 1000 };
  };
}

/**
 * Seconds that the main thread was at work, without the engine's own helpers (compiler, collector), as Linux counts
 * them (proc(5), schedstat); elsewhere those of all threads.
 */
export function threadSeconds(work: () => unknown): number {
  const before = mainThread();
  const { seconds } = timed(work);
  const after = mainThread();
  return before === null || after === null ? seconds : after - before;
}

function mainThread(): number | null {
  try {
    return Number(readFileSync(`/proc/self/task/${process.pid}/schedstat`, 'utf8').split(' ')[0]) / 1e9;
  } catch {
    return null;
  }
}

/** The value below which the part `p` of the numbers lies (nearest rank). */
export function quantile(numbers: readonly number[], p: number): number {
  const sorted = Float64Array.from(numbers).sort();
  return sorted[Math.max(0, Math.ceil(p * sorted.length) - 1)] ?? NaN;
}
