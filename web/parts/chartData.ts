import { useEffect, useRef, useState } from 'preact/hooks';
import type { Chart } from '../../server/messages/http.ts';
import { sentenceOf } from '../state/api.ts';
import { planFor, serves, type FetchPlan } from '../state/fetchplan.ts';
import { covers, isWhole, type TimeWindow } from '../state/window.ts';
import { useServices } from './services.ts';

interface Fetched {
  readonly plan: FetchPlan;
  readonly chart: Chart;
}

export interface ChartData {
  /** The finest that was fetched and covers the view. */
  readonly chart: Chart | null;
  readonly loading: boolean;
  readonly problem: string | null;
}

const SETTLE_MS = 90;

/**
 * Extremes for the view, fetched again as it changes: the whole once, then what the view needs when it has
 * come to rest. `stamp` changes when the recording has grown.
 */
export function useChartData(
  recordingId: string,
  view: TimeWindow,
  whole: TimeWindow,
  widthPx: number,
  stamp: string,
): ChartData {
  const { api } = useServices();
  const [coarse, setCoarse] = useState<Fetched | null>(null);
  const [fine, setFine] = useState<Fetched | null>(null);
  const [loading, setLoading] = useState(true);
  const [problem, setProblem] = useState<string | null>(null);
  const turn = useRef(0);
  const best = fine !== null && covers(fine.plan, view) ? fine : coarse;

  useEffect(() => {
    setFine(null);
    setCoarse(null);
  }, [recordingId, stamp]);

  useEffect(() => {
    if (widthPx <= 0) return;
    if (best !== null && serves(best.plan, view, whole, widthPx)) {
      turn.current++;
      setLoading(false);
      return;
    }
    const mine = ++turn.current;
    setLoading(true);
    const timer = setTimeout(
      () => {
        const plan = planFor(view, whole, widthPx);
        api.chart(recordingId, plan).then(
          (chart) => {
            if (mine !== turn.current) return;
            const fetched = { plan, chart };
            if (isWhole(plan, whole)) setCoarse(fetched);
            else setFine(fetched);
            setLoading(false);
            setProblem(null);
          },
          (error: unknown) => {
            if (mine !== turn.current) return;
            setProblem(sentenceOf(error));
            setLoading(false);
          },
        );
      },
      coarse === null ? 0 : SETTLE_MS,
    );
    return () => clearTimeout(timer);
  }, [recordingId, stamp, view.fromS, view.toS, whole.fromS, whole.toS, widthPx, best, api]);

  return { chart: best?.chart ?? null, loading, problem };
}
