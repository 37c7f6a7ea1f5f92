import type { Curve, ReportModel } from './model.ts';
import { LANES, type ReportMark } from './marks.ts';
import { INK } from './palette.ts';

/** The night's chart as shapes on a plane (x to the right, y down), the same for HTML and PDF. */
export type Shape =
  | {
      readonly kind: 'line';
      readonly points: readonly (readonly [number, number])[];
      readonly colour: string;
      readonly width: number;
      readonly dashed?: boolean;
    }
  | {
      readonly kind: 'box';
      readonly x: number;
      readonly y: number;
      readonly w: number;
      readonly h: number;
      readonly colour: string;
    }
  | {
      readonly kind: 'text';
      readonly x: number;
      readonly y: number;
      readonly text: string;
      readonly size: number;
      readonly colour: string;
      readonly anchor: 'start' | 'middle' | 'end';
    };

export interface Drawing {
  readonly width: number;
  readonly height: number;
  readonly shapes: readonly Shape[];
}

const LEFT = 46;
const RIGHT = 8;
const LANE = 13;
const COLOUR = { A: INK.amp, V: INK.volt, degC: INK.edge } as const;
const LANE_COLOUR = { Sleep: INK.sleep, Polling: INK.poll, 'Wake-ups': INK.wake, Log: INK.edge } as const;

/** Curves stacked over one time axis, with lanes of marks above them. */
export function drawNight(model: ReportModel, width: number, panelHeight: number): Drawing {
  const shapes: Shape[] = [];
  const span = Math.max(model.durationS, 1);
  const x = (s: number) => LEFT + (Math.min(Math.max(s, 0), span) / span) * (width - LEFT - RIGHT);
  let y = 4;
  for (const lane of LANES) {
    const marks = model.marks.filter((m) => m.lane === lane);
    if (marks.length === 0) continue;
    shapes.push(...laneShapes(lane, marks, x, y));
    y += LANE;
  }
  for (const curve of model.curves) {
    y += 19;
    shapes.push(...panel(curve, model, x, y, width, panelHeight));
    y += panelHeight;
  }
  shapes.push(...timeAxis(model, span, x, y));
  return { width, height: y + 26, shapes };
}

function laneShapes(
  lane: ReportMark['lane'],
  marks: readonly ReportMark[],
  x: (s: number) => number,
  y: number,
): Shape[] {
  const colour = LANE_COLOUR[lane];
  const out: Shape[] = [
    { kind: 'text', x: LEFT - 4, y: y + 9, text: lane, size: 7.5, colour: INK.ink2, anchor: 'end' },
  ];
  let free = LEFT;
  for (const mark of marks) {
    const [from, to] = [x(mark.startS), x(mark.endS)];
    out.push({ kind: 'box', x: from, y: y + 2, w: Math.max(to - from, 0.9), h: LANE - 5, colour });
    // A label stands on its mark where there is room, in the ground's colour.
    if (mark.label !== '' && to - from > mark.label.length * 4.2 && from >= free - 1) {
      out.push({
        kind: 'text',
        x: from + 3,
        y: y + 8.4,
        text: mark.label,
        size: 6.5,
        colour: INK.ground,
        anchor: 'start',
      });
      free = to;
    }
  }
  return out;
}

function panel(
  curve: Curve,
  model: ReportModel,
  x: (s: number) => number,
  top: number,
  width: number,
  height: number,
): Shape[] {
  const colour = COLOUR[curve.unit];
  const cut = (v: number) => (curve.cutAt === null ? v : Math.min(v, curve.cutAt));
  const values = [...curve.min, ...curve.max].map(cut);
  const lowest = values.reduce((a, b) => Math.min(a, b), Infinity);
  const highest = values.reduce((a, b) => Math.max(a, b), -Infinity);
  const { from, to, step } = niceScale(curve.unit === 'A' ? Math.min(lowest, 0) : lowest, highest);
  const y = (v: number) => top + height - ((v - from) / (to - from)) * height;
  const out: Shape[] = [
    {
      kind: 'text',
      x: LEFT,
      y: top - 4,
      text: `${curve.label} (${curve.unit === 'degC' ? '\u00b0C' : curve.unit})`,
      size: 8,
      colour,
      anchor: 'start',
    },
  ];
  for (let n = 0; from + n * step <= to + step / 2; n++) {
    const v = from + n * step;
    out.push({
      kind: 'line',
      points: [
        [LEFT, y(v)],
        [width - RIGHT, y(v)],
      ],
      colour: INK.rule,
      width: 0.5,
    });
    out.push({
      kind: 'text',
      x: LEFT - 4,
      y: y(v) + 2.6,
      text: axisText(v, step),
      size: 7,
      colour: INK.ink2,
      anchor: 'end',
    });
  }
  if (curve.unit === 'V' && model.thresholdV > from && model.thresholdV < to) {
    const level = y(model.thresholdV);
    out.push({
      kind: 'line',
      points: [
        [LEFT, level],
        [width - RIGHT, level],
      ],
      colour: INK.act,
      width: 0.8,
      dashed: true,
    });
    out.push({
      kind: 'text',
      x: width - RIGHT - 2,
      y: level - 2.5,
      text: `unreliable below ${model.thresholdV.toFixed(2)} V`,
      size: 6.5,
      colour: INK.act,
      anchor: 'end',
    });
  }
  for (const run of runsOf(curve, model.durationS)) {
    const points = run.flatMap((i) => [
      [x(curve.t[i]!), y(cut(curve.max[i]!))] as const,
      [x(curve.t[i]!), y(cut(curve.min[i]!))] as const,
    ]);
    out.push({ kind: 'line', points, colour, width: 0.7 });
  }
  return out;
}

/** Stretches without a hole: a curve never bridges a gap. */
function runsOf(curve: Curve, durationS: number): number[][] {
  const hole = Math.max((4 * durationS) / 600, 4 * medianStep(curve.t));
  const runs: number[][] = [];
  curve.t.forEach((t, i) => {
    if (i === 0 || t - curve.t[i - 1]! > hole) runs.push([]);
    runs.at(-1)!.push(i);
  });
  return runs;
}

function medianStep(t: readonly number[]): number {
  const steps = t
    .slice(1)
    .map((x, i) => x - t[i]!)
    .sort((a, b) => a - b);
  return steps[steps.length >> 1] ?? 0;
}

/** A scale of about four steps of 1, 2 or 5 times a power of ten that holds both ends. */
export function niceScale(lowest: number, highest: number): { from: number; to: number; step: number } {
  const range = Math.max(highest - lowest, 1e-3);
  const rough = range / 4;
  const power = 10 ** Math.floor(Math.log10(rough));
  const step = [1, 2, 5, 10].map((k) => k * power).find((s) => s >= rough * 0.999)!;
  const from = Math.floor(lowest / step + 1e-9) * step;
  return { from, to: Math.max(Math.ceil(highest / step - 1e-9) * step, from + step), step };
}

function axisText(v: number, step: number): string {
  return v.toFixed(Math.max(0, -Math.floor(Math.log10(step) + 1e-9)));
}

function timeAxis(model: ReportModel, span: number, x: (s: number) => number, y: number): Shape[] {
  const steps = [60, 300, 600, 1800, 3600, 7200, 14_400, 21_600, 43_200, 86_400, 172_800, 604_800];
  const step = steps.find((s) => span / s <= 9) ?? 604_800;
  const out: Shape[] = [];
  for (let s = 0; s <= span; s += step) {
    out.push({
      kind: 'line',
      points: [
        [x(s), y],
        [x(s), y + 3],
      ],
      colour: INK.edge,
      width: 0.6,
    });
    const text = step >= 3600 ? `${s / 3600} h` : `${s / 60} min`;
    out.push({
      kind: 'text',
      x: x(s),
      y: y + 11,
      text,
      size: 7,
      colour: INK.ink2,
      anchor: s === 0 ? 'start' : 'middle',
    });
  }
  const since =
    model.startedAt === null
      ? 'after the start'
      : `after the start, ${model.startedAt.slice(0, 16).replace('T', ' ')} UTC`;
  out.push({ kind: 'text', x: x(span), y: y + 21, text: since, size: 7, colour: INK.ink2, anchor: 'end' });
  return out;
}
