import type { JSX } from 'preact';
import { useEffect, useId, useMemo, useRef, useState } from 'preact/hooks';
import type { Findings } from '../../server/messages/findings.ts';
import type { RecordingDetail } from '../../server/messages/http.ts';
import { mountNightChart, type NightChart as Mounted } from '../chart/nightChart.ts';
import { axisWidth } from '../chart/theme.ts';
import { currentAxisTitle, type CurrentScale } from '../state/axis.ts';
import { clockText } from '../state/clocktime.ts';
import { curveOf, gapsByChannel, readAt, type Curve } from '../state/curve.ts';
import { figureLine, roundedFigure } from '../state/figure.ts';
import { marksOf } from '../state/marks.ts';
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
import { Button, Choice } from './controls.tsx';
import { Lanes } from './lanes.tsx';
import { Problem } from './words.tsx';

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
  const helpId = useId();
  const latest = useRef(p);
  latest.current = p;

  const data = useChartData(recording.id, view, whole, width, String(recording.durationMs));
  const marks = useMemo(() => marksOf(detail, findings, whole.toS), [detail, findings, whole.toS]);
  const gaps = useMemo(() => gapsByChannel(detail, findings), [detail, findings]);
  const curves = useMemo(
    (): Curve[] =>
      (data.chart?.channels ?? [])
        .filter((c) => c.t.length > 0)
        .map((c) => curveOf(c, gaps.get(c.channelId) ?? [], view)),
    [data.chart, gaps, view],
  );
  const battery = findings?.battery;
  const level = useMemo(
    () =>
      battery === undefined
        ? null
        : {
            value: battery.thresholdV,
            label: `unreliable below ${battery.thresholdV.toFixed(2)} V`,
            zone: true,
          },
    [battery?.thresholdV],
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
      <Reading curves={curves} atS={cursor} view={view} detail={detail} loading={data.loading} />
      <Problem sentence={data.problem} />
      <Lanes marks={marks} view={view} whole={whole} widthPx={width} onView={p.onView} />
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
      <div class="chart-notes">
        {hasCurrent && (
          <>
            <Choice
              legend="Scale of the current"
              value={scale}
              options={[
                { value: 'stretched', label: 'Stretched' },
                { value: 'even', label: 'Even' },
              ]}
              onValue={setScale}
            />
            <p class="quiet small">{currentAxisTitle(scale)}.</p>
          </>
        )}
        <p class="quiet small" id={helpId}>
          Drag to look closer, double-click for the whole; with fingers, swipe and pinch. Keys: arrows move,
          plus and minus zoom, 0 shows the whole.
        </p>
      </div>
    </section>
  );
}

const QUANTITY_WORDS = { voltage: 'Voltage', current: 'Current', temperature: 'Temperature' } as const;

/** The quantity; with several channels of it, the channel's own label. */
function nameOf(curve: Curve, all: readonly Curve[]): string {
  return all.filter((c) => c.quantity === curve.quantity).length > 1
    ? curve.label
    : QUANTITY_WORDS[curve.quantity];
}

/** What stands under the cursor; without one, what the view shows. */
function Reading(p: {
  readonly curves: readonly Curve[];
  readonly atS: number | null;
  readonly view: TimeWindow;
  readonly detail: RecordingDetail;
  readonly loading: boolean;
}): JSX.Element {
  const { recording } = p.detail;
  const at = p.atS;
  const reach = spanOf(p.view) / 60;
  const short = spanOf(p.view) < 60;
  return (
    <dl class="cursor-line" aria-live="off">
      <div>
        <dt>{at === null ? 'Shown' : 'At'}</dt>
        <dd>
          {at === null
            ? `${clockText(recording, p.view.fromS, 'seconds')} to ${clockText(recording, p.view.toS, 'seconds')}`
            : clockText(recording, at, short ? 'tenths' : 'seconds')}
        </dd>
      </div>
      {at !== null &&
        p.curves.map((c) => {
          const v = readAt(c, at, reach);
          const low = v === null ? null : figureLine(roundedFigure(c.quantity, v.low));
          const high = v === null ? null : figureLine(roundedFigure(c.quantity, v.high));
          return (
            <div key={c.channelId} class={c.quantity}>
              <dt>{nameOf(c, p.curves)}</dt>
              <dd>{low === null ? 'no reading' : low === high ? low : `${low} to ${high}`}</dd>
            </div>
          );
        })}
      {p.loading && <span class="quiet">reading closer</span>}
    </dl>
  );
}
