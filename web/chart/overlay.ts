import type uPlot from 'uplot';
import type { Span } from '../state/curve.ts';
import type { Mark, MarkKind } from '../state/marks.ts';
import { faded, type ChartTheme } from './theme.ts';

/** A level to draw across a panel, for example the edge of the unreliable zone. */
export interface Level {
  readonly value: number;
  readonly label: string;
  /** Shade everything below it. */
  readonly zone: boolean;
}

const DRAWN: ReadonlySet<MarkKind> = new Set(['asleep', 'step', 'wake-up', 'attempt', 'polling-stopped']);

/** Behind the curves: gaps as hatched stretches, the zone below a level, and a line for each mark in view. */
export function drawBehind(u: uPlot, gaps: readonly Span[], level: Level | null, theme: ChartTheme): void {
  const { ctx } = u;
  const { left, top, width, height } = u.bbox;
  ctx.save();
  ctx.beginPath();
  ctx.rect(left, top, width, height);
  ctx.clip();
  for (const gap of gaps) {
    const a = Math.max(left, u.valToPos(gap.startS, 'x', true));
    const b = Math.min(left + width, u.valToPos(gap.endS, 'x', true));
    if (b - a > 1) hatch(ctx, a, top, b - a, height, theme);
  }
  if (level !== null && level.zone) {
    const y = u.valToPos(level.value, 'y', true);
    if (y < top + height) {
      ctx.fillStyle = faded(theme.act, 0.13);
      ctx.fillRect(left, Math.max(top, y), width, top + height - Math.max(top, y));
    }
  }
  ctx.restore();
}

/** More lines of one kind than this hide the curve; the row of marks above still shows them. */
const MOST_LINES = 12;

export function drawInFront(u: uPlot, marks: readonly Mark[], level: Level | null, theme: ChartTheme): void {
  const { ctx } = u;
  const { left, top, width, height } = u.bbox;
  const px = devicePixelRatio;
  ctx.save();
  ctx.beginPath();
  ctx.rect(left, top, width, height);
  ctx.clip();
  ctx.lineWidth = px;
  const min = u.scales['x']!.min ?? 0;
  const max = u.scales['x']!.max ?? 0;
  const inView = marks.filter((m) => DRAWN.has(m.kind) && m.startS >= min && m.startS <= max);
  const crowded = new Set(
    [...DRAWN].filter((kind) => inView.filter((m) => m.kind === kind).length > MOST_LINES),
  );
  for (const mark of inView) {
    if (crowded.has(mark.kind)) continue;
    const x = Math.round(u.valToPos(mark.startS, 'x', true)) + 0.5;
    ctx.strokeStyle = markColour(mark.kind, theme);
    ctx.setLineDash(mark.kind === 'asleep' || mark.kind === 'attempt' ? [] : [4 * px, 4 * px]);
    ctx.beginPath();
    ctx.moveTo(x, top);
    ctx.lineTo(x, top + height);
    ctx.stroke();
  }
  if (level !== null) {
    const y = Math.round(u.valToPos(level.value, 'y', true)) + 0.5;
    if (y > top && y < top + height) {
      ctx.setLineDash([8 * px, 3 * px]);
      ctx.strokeStyle = theme.act;
      ctx.beginPath();
      ctx.moveTo(left, y);
      ctx.lineTo(left + width, y);
      ctx.stroke();
      ctx.fillStyle = theme.act;
      ctx.font = theme.font.replace(/^\d+/, (n) => String(Number(n) * px));
      ctx.textAlign = 'right';
      ctx.textBaseline = y + theme.rem * 1.4 * px < top + height ? 'top' : 'bottom';
      ctx.fillText(level.label, left + width - 6 * px, y + (ctx.textBaseline === 'top' ? 4 : -4) * px);
    }
  }
  ctx.restore();
}

function markColour(kind: MarkKind, theme: ChartTheme): string {
  if (kind === 'asleep') return theme.sleep;
  if (kind === 'wake-up') return theme.wake;
  if (kind === 'step') return theme.sleep;
  return theme.log;
}

function hatch(
  ctx: CanvasRenderingContext2D,
  x: number,
  y: number,
  w: number,
  h: number,
  theme: ChartTheme,
): void {
  const gap = 8 * devicePixelRatio;
  ctx.save();
  ctx.beginPath();
  ctx.rect(x, y, w, h);
  ctx.clip();
  ctx.fillStyle = faded(theme.log, 0.1);
  ctx.fillRect(x, y, w, h);
  ctx.strokeStyle = faded(theme.log, 0.45);
  ctx.lineWidth = devicePixelRatio;
  ctx.setLineDash([]);
  ctx.beginPath();
  for (let d = Math.floor((x - h) / gap) * gap; d < x + w; d += gap) {
    ctx.moveTo(d, y + h);
    ctx.lineTo(d + h, y);
  }
  ctx.stroke();
  ctx.restore();
}
