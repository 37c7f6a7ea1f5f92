import { quantile } from '../../server/analysis/statistics.ts';
import { findNight } from '../../server/battery/findings.ts';
import { HARD_NIGHT_KINDS, hardNight, type HardNight } from '../helpers/hard-nights.ts';
import { makeNight } from '../helpers/nights.ts';
import { score, type ScoredFigure } from '../helpers/scorecard.ts';
import { target, type Row, type Table, type Topic } from './bench.ts';

/** Figures of many seeded nights against their exact truth, by kind of figure. */
export interface Coverage {
  readonly figure: string;
  readonly cases: number;
  /** Share within the tolerance that was asked for. */
  readonly withinTolerance: number;
  /** Share of truths inside value +- expanded uncertainty; null for figures that carry none. */
  readonly covered: number | null;
  /** Median expanded uncertainty over median absolute error (3 for a perfect Gaussian statement); null likewise. */
  readonly ratio: number | null;
}

export interface CoveredNights {
  readonly figures: Coverage[];
  /** Of each kind of night: how many, on how many everything was right, and what was wrong on the others. */
  readonly nights: {
    readonly kind: HardNight;
    readonly count: number;
    readonly right: number;
    readonly wrong: string[];
  }[];
}

/** Analyses `nightsPerKind` nights of each kind, from `firstSeed` on. */
export function coverage(
  nightsPerKind: number,
  kinds: readonly HardNight[] = HARD_NIGHT_KINDS,
  firstSeed = 1,
): CoveredNights {
  const figures = new Map<string, ScoredFigure[]>();
  const nights = kinds.map((kind) => {
    const wrong: string[] = [];
    let right = 0;
    for (let seed = firstSeed; seed < firstSeed + nightsPerKind; seed++) {
      const spec = hardNight(kind, seed);
      const night = makeNight(spec);
      const chemistry = spec.battery?.chemistry;
      const scored = score(findNight(night.input, chemistry === undefined ? {} : { chemistry }), night, spec);
      for (const f of scored.figures) figures.set(f.kind, [...(figures.get(f.kind) ?? []), f]);
      if (scored.wrong.length === 0) right++;
      else wrong.push(...scored.wrong.map((w) => `${kind} ${seed}: ${w}`));
    }
    return { kind, count: nightsPerKind, right, wrong };
  });
  return { figures: [...figures].map(([figure, all]) => covered(figure, all)), nights };
}

function covered(figure: string, all: readonly ScoredFigure[]): Coverage {
  const share = (n: number, of: number): number => n / Math.max(1, of);
  const uncertain = all.filter((f): f is ScoredFigure & { u: number } => f.u !== null);
  const within = all.filter((f) => Math.abs(f.error) <= f.limit).length;
  if (uncertain.length === 0)
    return {
      figure,
      cases: all.length,
      withinTolerance: share(within, all.length),
      covered: null,
      ratio: null,
    };
  const middle = (x: readonly number[]): number => quantile(x, 0.5);
  return {
    figure,
    cases: all.length,
    withinTolerance: share(within, all.length),
    covered: share(uncertain.filter((f) => Math.abs(f.toCover) <= f.u).length, uncertain.length),
    ratio: middle(uncertain.map((f) => f.u)) / middle(uncertain.map((f) => Math.abs(f.toCover))),
  };
}

/** How right the figures are and how honest their uncertainty, in both directions. */
export const coverageTopic: Topic = {
  name: 'coverage',
  run(ground) {
    ground.say(`coverage: ${ground.nights} nights of each of ${HARD_NIGHT_KINDS.length} kinds`);
    const { figures, nights } = coverage(ground.nights);
    return [figuresTable(figures), nightsTable(nights)];
  },
};

function figuresTable(figures: readonly Coverage[]): Table {
  return {
    title: 'Figures against the truth of seeded nights',
    columns: ['cases', 'within tolerance %', 'truth inside U %', 'median U / median error'],
    rows: figures.map((f): Row => ({
      name: f.figure,
      kind: 'ours',
      cells: [f.cases, 100 * f.withinTolerance, f.covered === null ? null : 100 * f.covered, f.ratio],
    })),
    targets: figures.flatMap((f) =>
      f.covered === null || f.ratio === null
        ? []
        : [
            target(`${f.figure}: truth inside U`, 100 * f.covered, '>=', 90, '%'),
            target(`${f.figure}: median U / median error`, f.ratio, '<=', 5, ''),
          ],
    ),
  };
}

function nightsTable(nights: CoveredNights['nights']): Table {
  return {
    title: 'Nights on which everything was right',
    columns: ['nights', 'right'],
    rows: nights.map(({ kind, count, right, wrong }): Row => ({
      name: kind,
      kind: 'ours',
      cells: [count, right],
      ...(wrong.length > 0 && { note: wrong[0]!.slice(0, 160) }),
    })),
    targets: [],
  };
}
