import { benchOne, summarise, type BenchSummary } from '../helpers/teachingBench.ts';
import { target, type Table, type Topic } from './bench.ts';

const METERS = 120;
const COUNTS = [5, 7, 10];

/** How many invented meters are learned from a few glances, and that none is learned wrongly. */
export const teaching: Topic = {
  name: 'teaching',
  run({ say }) {
    const summaries = COUNTS.map((glances) => {
      say(`teaching ${METERS} invented meters, ${glances} glances each`);
      return summarise(Array.from({ length: METERS }, (_, seed) => benchOne(seed, glances)));
    });
    return [tableOf(summaries)];
  },
};

function tableOf(summaries: readonly BenchSummary[]): Table {
  return {
    title: `Teaching by example: ${METERS} invented meters, 600 held-out frames each`,
    columns: [
      'learned',
      'learned, but frames in the range shown are refused',
      'asks for another glance',
      'not found',
      'learned wrongly',
      'slowest ms of processor',
    ],
    rows: summaries.map((s) => ({
      name: `${s.glances} glances`,
      kind: 'ours',
      cells: [s.learned, s.learnedPartly, s.ambiguous, s.none, s.wrong.length, s.slowestMs],
    })),
    targets: summaries.flatMap((s) => [
      target(`learned wrongly from ${s.glances} glances`, s.wrong.length, '<=', 0, 'meters'),
      target(`slowest of ${s.glances} glances`, s.slowestMs, '<=', 2000, 'ms'),
    ]),
  };
}
