import type { JSX } from 'preact';
import { useEffect, useId, useMemo, useRef, useState } from 'preact/hooks';
import type { Findings } from '../../server/messages/findings.ts';
import type { RecordingDetail } from '../../server/messages/http.ts';
import { mountNightChart, type NightChart as Mounted } from '../chart/nightChart.ts';
import { axisWidth } from '../chart/theme.ts';
import { currentAxisTitle, type CurrentScale } from '../state/axis.ts';
import { clockText } from '../state/clocktime.ts';
import { curveOf, gapsByChannel, type Curve } from '../state/curve.ts';
import { markAt } from '../state/describe.ts';
import { marksOf, type Mark } from '../state/marks.ts';
import { asleepWindow } from '../state/places.ts';
import {
  fitWindow,
  isWhole,
  panWindow,
  spanOf,
  windowForKey,
  zoomWindow,
  type TimeWindow,
} from '../state/window.ts';
import { useChartData } from './chartData.ts';
import { MarkStory, Reading, SpokenView } from './chartReading.tsx';
import { Button } from './controls.tsx';
import { Lanes } from './lanes.tsx';
import { ScaleChoice } from './scaleChoice.tsx';
import { Problem } from './words.tsx';

/** So near, in CSS pixels, the cursor points at a mark. */
const NEAR_PX = 8;

/** The night on one time axis: rows of marks, voltage, current, and what moves the window. */
export function NightChart(p: {
  readonly detail: RecordingDetail;
  readonly findings: Findings | null;
  readonly whole: TimeWindow;
  readonly view: TimeWindow;
  readonly onView: (view: TimeWindow) => void;
}): JSX.Element {
  const { detail, findings, whole, view } = p;
  const { recording } = detail;
  const host = useRef<HTMLDivElement>(null);
  const mounted = useRef<Mounted | null>(null);
  const [width, setWidth] = useState(0);
  const [scale, setScale] = useState<CurrentScale>('stretched');
  const [cursor, setCursor] = useState<number | null>(null);
  const [pointed, setPointed] = useState<Mark | null>(null);
  const helpId = useId();
  const latest = useRef(p);
  latest.current = p;

  const data = useChartData(recording.id, view, whole, width);
  const { picture } = data;
  const marks = useMemo(() => marksOf(detail, findings, whole.toS), [detail, findings, whole.toS]);
  const gaps = useMemo(() => gapsByChannel(detail, findings), [detail, findings]);
  const curves = useMemo((): Curve[] => {
    const label = new Map(recording.channels.map((c) => [c.id, c.label]));
    return (picture?.channels ?? [])
      .filter((c) => c.t.length > 0)
      .map((c) => curveOf(c, label.get(c.channelId) ?? '', gaps.get(c.channelId) ?? [], picture!));
  }, [picture, gaps, recording]);
  const threshold = findings?.battery.thresholdV;
  const level = useMemo(
    () =>
      threshold === undefined
        ? null
        : { value: threshold, label: `unreliable below ${threshold.toFixed(2)} V`, zone: true },
    [threshold],
  );

  useEffect(() => {
    const el = host.current!;
    const rem = parseFloat(getComputedStyle(document.documentElement).fontSize);
    const measure = (): void => setWidth(Math.max(0, el.clientWidth - axisWidth(rem) - rem * 0.75));
    measure();
    const seen = new ResizeObserver(measure);
    seen.observe(el);
    mounted.current = mountNightChart(el, {
      onView: (next) => latest.current.onView(fitWindow(next, latest.current.whole)),
      onReset: () => latest.current.onView(latest.current.whole),
      onCursor: setCursor,
    });
    return () => {
      seen.disconnect();
      mounted.current?.destroy();
      mounted.current = null;
    };
  }, []);
  useEffect(() => {
    if (curves.length > 0)
      mounted.current?.update({ curves, marks, view, whole, scale, begin: recording, level });
  }, [curves, marks, view, whole, scale, recording, level]);

  const asleep = findings === null ? null : asleepWindow(findings, whole);
  const hasCurrent = recording.channels.some((c) => c.quantity === 'current');
  const underCursor =
    cursor === null || width === 0 ? null : markAt(marks, cursor, (spanOf(view) / width) * NEAR_PX);
  return (
    <section class="night-chart" id="chart" aria-label="The night on its time axis">
      <div class="row chart-tools">
        <Button onPress={() => p.onView(whole)} pressed={isWhole(view, whole)}>
          Whole night
        </Button>
        {asleep !== null && <Button onPress={() => p.onView(asleep)}>Asleep only</Button>}
        <span class="group">
          <Button label="Earlier" onPress={() => p.onView(panWindow(view, whole, -0.5))}>
            ◂
          </Button>
          <Button label="Later" onPress={() => p.onView(panWindow(view, whole, 0.5))}>
            ▸
          </Button>
          <Button label="Closer" onPress={() => p.onView(zoomWindow(view, whole, 0.5))}>
            +
          </Button>
          <Button label="Further" onPress={() => p.onView(zoomWindow(view, whole, 2))}>
            −
          </Button>
        </span>
      </div>
      <Reading curves={curves} atS={cursor} view={view} begin={recording} loading={data.loading} />
      <Problem sentence={data.problem} onRetry={data.retry} />
      <Lanes marks={marks} view={view} whole={whole} widthPx={width} onView={p.onView} onPoint={setPointed} />
      <MarkStory mark={pointed ?? underCursor} begin={recording} />
      <div
        class="plot"
        tabIndex={0}
        role="application"
        aria-roledescription="chart"
        aria-label={`Voltage and current from ${clockText(recording, view.fromS, 'seconds')} to ${clockText(recording, view.toS, 'seconds')}`}
        aria-describedby={helpId}
        onKeyDown={(e) => {
          if (e.ctrlKey || e.metaKey || e.altKey) return;
          const next = windowForKey(e.key, view, whole);
          if (next === null) return;
          e.preventDefault();
          p.onView(next);
        }}
        ref={host}
      />
      <SpokenView curves={curves} marks={marks} view={view} begin={recording} />
      <div class="chart-notes">
        {hasCurrent && (
          <>
            <ScaleChoice value={scale} onValue={setScale} />
            <p class="quiet small">{currentAxisTitle(scale)}.</p>
          </>
        )}
        <p class="quiet small" id={helpId}>
          Turn the wheel or drag to look closer, double-click for the whole; with fingers, swipe and pinch.
          Keys: arrows move, plus and minus zoom, Home and End go to the ends, 0 shows the whole.
        </p>
      </div>
    </section>
  );
}
