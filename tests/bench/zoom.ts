import path from 'node:path';
import { zoomOf } from '../../server/http/chart.ts';
import { encodeZoom } from '../../server/messages/zoom.ts';
import { seeded } from '../helpers/seeded.ts';
import { instantsOf, quantile, target, type Ground, type Row, type Topic } from './bench.ts';
import { csvMonth, duckSelect, openRows, withDuck } from './peers.ts';
import { RangeExtremes } from './rangeExtremes.ts';
import { storedMonth } from './stored.ts';

const BUCKETS = 2000;
const SHORTEST_MS = 10_000;
/** So many windows for what is fast, and for what is slow. */
const MANY = 1000;
const FEW = 40;
/** Grouped SQL looks at each row: it gets this part of the month at most. */
const SQL_DAYS = 3;

type Window = readonly [fromMs: number, toMs: number];

/** 2,000 pairs of lowest and highest of both channels, over windows of ten seconds to all, evenly on a log scale. */
export const zoom: Topic = {
  name: 'zoom',
  async run(ground) {
    const instants = instantsOf(ground.days);
    const { store, recording } = storedMonth(ground, instants);
    const ids = recording.channels.map((c) => c.id);
    const span = recording.durationMs;
    const ask = ([from, to]: Window) => void store.zoom(ids, from, to, BUCKETS);
    const cold = measured(windows(span, FEW, 1), ask);
    const warm = measured(windows(span, MANY, 2), ask);
    const largest = windows(span, 50, 3).reduce((most, [from, to]) => {
      const query = { fromS: from / 1000, toS: to / 1000, buckets: BUCKETS };
      return Math.max(most, encodeZoom(zoomOf(store, recording, query)).length);
    }, 0);
    const [median, p99] = both(warm);
    const memory = both(inMemory(ground, span));
    const rows: Row[] = [
      {
        name: 'blocks and pyramid',
        kind: 'ours',
        cells: [median, p99, largest / 1024],
        note: `${MANY} windows`,
      },
      {
        name: 'the same, the first windows',
        kind: 'ours',
        cells: [...both(cold), null],
        note: `${FEW} windows`,
      },
      {
        name: 'arrays in memory with a pyramid',
        kind: 'peer',
        cells: [...memory, null],
      },
      await duckRow(ground, span),
      sqlRow(ground),
    ];
    return [
      {
        title: `Zoom: ${BUCKETS} buckets of two channels`,
        columns: ['median ms', 'p99 ms', 'largest answer KiB'],
        rows,
        targets: [
          target('median', median, '<=', 0.5, 'ms'),
          target('p99', p99, '<=', 3, 'ms'),
          // What these are to be beside arrays in memory on the machine of the targets: 0.12 and 0.61 ms.
          target('median, by that of arrays in memory', median / memory[0], '<=', 0.5 / 0.12, 'times'),
          target('p99, by that of arrays in memory', p99 / memory[1], '<=', 3 / 0.61, 'times'),
          target('as binary', largest / 1024, '<=', 16, 'KiB'),
        ],
      },
    ];
  },
};

function windows(span: number, count: number, seed: number): Window[] {
  const random = seeded(seed);
  return Array.from({ length: count }, () => {
    const length = Math.floor(SHORTEST_MS * (span / SHORTEST_MS) ** random());
    const from = Math.floor(random() * (span - length));
    return [from, from + length] as const;
  });
}

function measured(all: readonly Window[], ask: (window: Window) => void): number[] {
  return all.map((window) => {
    const from = performance.now();
    ask(window);
    return performance.now() - from;
  });
}

function both(ms: readonly number[]): [number, number] {
  return [quantile(ms, 0.5), quantile(ms, 0.99)];
}

function inMemory(ground: Ground, span: number): number[] {
  const { t, current, voltage } = ground.month(instantsOf(ground.days));
  const channels = [new RangeExtremes(t, current), new RangeExtremes(t, voltage)];
  return measured(windows(span, MANY, 2), ([from, to]) => {
    for (const channel of channels) channel.buckets(from, to, BUCKETS);
  });
}

async function duckRow(ground: Ground, span: number): Promise<Row> {
  const csv = csvMonth(ground, instantsOf(ground.days));
  const ms = await withDuck(path.join(ground.folder, 'zoom.duckdb'), async (duck) => {
    await duck.run(`CREATE TABLE m AS ${duckSelect(csv)}`);
    const out: number[] = [];
    for (const window of windows(span, FEW, 2)) {
      const from = performance.now();
      await duck.runAndReadAll(grouped('m', window));
      out.push(performance.now() - from);
    }
    return out;
  });
  return { name: 'table in DuckDB', kind: 'peer', cells: [...both(ms), null], note: `${FEW} windows` };
}

function sqlRow(ground: Ground): Row {
  const days = Math.min(SQL_DAYS, ground.days);
  const { t, current, voltage } = ground.month(instantsOf(days));
  const rows = openRows(path.join(ground.folder, 'zoom-rows.db'), 'packed');
  rows.insert(t, current, voltage);
  const ms = measured(
    windows(t.at(-1)!, FEW, 2),
    (window) => void rows.db.prepare(grouped('r', window)).all(),
  );
  rows.close();
  const note = `${FEW} windows of ${days} days`;
  return { name: 'grouped SQL over packed rows', kind: 'peer', cells: [...both(ms), null], note };
}

function grouped(table: string, [from, to]: Window): string {
  return `SELECT CAST((t - ${from}) * ${BUCKETS} / ${Math.max(1, to - from)} AS INTEGER) AS b,
    min(c), max(c), min(v), max(v) FROM ${table} WHERE t BETWEEN ${from} AND ${to} GROUP BY b ORDER BY b`;
}
