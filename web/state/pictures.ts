import type { Zoom } from '../../server/messages/zoom.ts';
import { planFor, serves, type FetchPlan } from './fetchplan.ts';
import { covers, fitWindow, isWhole, spanOf, type TimeWindow } from './window.ts';

/** A picture on its way; `cancel` gives it up. */
export interface Asked {
  readonly picture: Promise<Zoom>;
  readonly cancel: () => void;
}

export interface PicturesHooks {
  readonly ask: (plan: FetchPlan) => Asked;
  /** Something arrived, or failed. */
  readonly changed: () => void;
}

interface Kept {
  readonly plan: FetchPlan;
  readonly picture: Zoom;
  /** The recording has grown since, and with it what this picture should show. */
  stale: boolean;
}

interface Look {
  readonly view: TimeWindow;
  readonly whole: TimeWindow;
  readonly widthPx: number;
}

/** A picture of two channels is about 200 kB in memory. */
const MOST_KEPT = 24;

/**
 * The pictures that a chart has fetched. What the view needs is asked for at once, one at a time, and given up when
 * the view has left it; meanwhile the finest picture that covers the view is drawn, so that the chart is never
 * blank. When nothing is missing, what the next move will need is fetched ahead.
 */
export class Pictures {
  private kept: Kept[] = [];
  private now: Look | null = null;
  private onTheWay: {
    readonly plan: FetchPlan;
    readonly ahead: boolean;
    readonly cancel: () => void;
  } | null = null;
  private failed: { readonly look: Look; readonly error: unknown } | null = null;

  constructor(private readonly hooks: PicturesHooks) {}

  /** What is looked at from now on. */
  look(view: TimeWindow, whole: TimeWindow, widthPx: number): void {
    const before = this.now;
    this.now = { view, whole, widthPx };
    if (before !== null && whole.toS > before.whole.toS) this.grew(before.whole.toS);
    this.go();
  }

  /** Tries again after a failure. */
  retry(): void {
    this.failed = null;
    this.go();
  }

  /** The best there is for the view; null only before the first has arrived. */
  best(): Zoom | null {
    return this.bestKept()?.picture ?? null;
  }

  /** Whether something finer than the best is on its way. */
  get loading(): boolean {
    return this.onTheWay !== null && !this.onTheWay.ahead;
  }

  /** Why the last question failed, while nothing newer was asked. */
  get error(): unknown {
    return this.failed?.error ?? null;
  }

  close(): void {
    this.now = null;
    this.onTheWay?.cancel();
    this.onTheWay = null;
  }

  private bestKept(): Kept | null {
    const { now } = this;
    if (now === null) return null;
    const { view } = now;
    const rank = (k: Kept): number =>
      (covers(k.plan, view) ? 0 : 1e12 * (1 - overlap(k.plan, view))) +
      (k.stale ? 1e6 : 0) +
      fineness(k.plan);
    return this.kept.reduce<Kept | null>((a, b) => (a === null || rank(b) < rank(a) ? b : a), null);
  }

  private grew(oldEndS: number): void {
    for (const k of this.kept) if (k.plan.toS >= oldEndS) k.stale = true;
    if (this.onTheWay !== null && this.onTheWay.plan.toS >= oldEndS) this.give(true);
  }

  private has({ view, whole, widthPx }: Look): boolean {
    return this.kept.some((k) => !k.stale && good(k, view, whole, widthPx));
  }

  private go(): void {
    const { now } = this;
    if (now === null || now.widthPx <= 0) return;
    if (this.failed !== null && sameLook(this.failed.look, now)) return;
    if (!this.has(now)) {
      const { onTheWay } = this;
      if (onTheWay !== null && covers(onTheWay.plan, now.view) && !onTheWay.ahead) return;
      this.give(true);
      // The whole comes first: whatever happens next, it can be drawn.
      const first = this.kept.length === 0 ? now.whole : now.view;
      this.fetch(planFor(first, now.whole, now.widthPx), false);
    } else if (this.onTheWay === null) {
      const next = aheadOf(now).find((view) => !this.has({ ...now, view }));
      if (next !== undefined) this.fetch(planFor(next, now.whole, now.widthPx), true);
    } else if (!this.onTheWay.ahead) this.give(true);
  }

  private fetch(plan: FetchPlan, ahead: boolean): void {
    const look = this.now!;
    const { picture, cancel } = this.hooks.ask(plan);
    const mine = { plan, ahead, cancel };
    this.onTheWay = mine;
    picture.then(
      (zoom) => {
        if (this.onTheWay !== mine) return;
        this.onTheWay = null;
        this.failed = null;
        this.keep({ plan, picture: zoom, stale: false });
        if (!ahead) this.hooks.changed();
        this.go();
      },
      (error: unknown) => {
        if (this.onTheWay !== mine) return;
        this.onTheWay = null;
        this.failed = { look, error };
        if (!ahead) this.hooks.changed();
      },
    );
  }

  private give(cancel: boolean): void {
    if (cancel) this.onTheWay?.cancel();
    this.onTheWay = null;
  }

  private keep(fresh: Kept): void {
    const { whole } = this.now ?? { whole: fresh.plan };
    // A stale picture that the fresh one replaces is of no use any more.
    this.kept = this.kept.filter((k) => !(k.stale && covers(fresh.plan, k.plan)));
    this.kept.push(fresh);
    const oldest = this.kept.findIndex((k) => !isWhole(k.plan, whole));
    if (this.kept.length > MOST_KEPT && oldest >= 0) this.kept.splice(oldest, 1);
  }
}

/** Seconds a bucket. */
function fineness(plan: FetchPlan): number {
  return spanOf(plan) / plan.buckets;
}

function overlap(a: TimeWindow, b: TimeWindow): number {
  return Math.max(0, Math.min(a.toS, b.toS) - Math.max(a.fromS, b.fromS)) / spanOf(b);
}

/** Fine enough, or every reading there is. */
function good({ plan, picture }: Kept, view: TimeWindow, whole: TimeWindow, widthPx: number): boolean {
  if (serves(plan, view, whole, widthPx)) return true;
  return covers(plan, view) && picture.channels.every((c) => c.raw);
}

function sameLook(a: Look, b: Look): boolean {
  return (
    a.view.fromS === b.view.fromS &&
    a.view.toS === b.view.toS &&
    a.whole.toS === b.whole.toS &&
    a.widthPx === b.widthPx
  );
}

/** Where the next move may lead: the whole, further out, later, earlier. */
function aheadOf({ view, whole }: Look): TimeWindow[] {
  const span = spanOf(view);
  const moved = (shift: number, times: number): TimeWindow => {
    const middle = (view.fromS + view.toS) / 2 + shift * span;
    return fitWindow({ fromS: middle - (times * span) / 2, toS: middle + (times * span) / 2 }, whole);
  };
  return [whole, moved(0, 4), moved(0.75, 1), moved(-0.75, 1)];
}
