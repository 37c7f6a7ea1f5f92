import {
  PREFLIGHT_ITEMS,
  type CheckFound,
  type Checklist,
  type PreflightCheckId,
  type PreflightId,
} from '../../server/messages/checklist.ts';
import { figureText } from '../../server/messages/figures.ts';
import { ZERO_CHECK_HOLDS_MS, type HeldZeroCheck } from '../../server/messages/zeroCheck.ts';
import { estimateResolution } from '../../server/analysis/sampling.ts';
import { median } from '../../server/analysis/statistics.ts';
import { OLD_AFTER_MS, type Trace } from './live.ts';

/** What is ticked, each with the time of its tick. */
export type Ticks = Readonly<Partial<Record<PreflightId, string>>>;

/** A tick of longer ago was for another night. */
const HOLDS_MS = 6 * 3_600_000;

export function ticksKey(caseId: string | null): string {
  return `nightdraw.preflight.${caseId ?? 'none'}`;
}

export function toggled(ticks: Ticks, id: PreflightId, nowIso: string): Ticks {
  const { [id]: before, ...rest } = ticks;
  return before === undefined ? { ...ticks, [id]: nowIso } : rest;
}

/** What was ticked before a reload, without what is too old or not understood. */
export function ticksFrom(text: string | null, nowMs: number): Ticks {
  let kept: unknown;
  try {
    kept = JSON.parse(text ?? '{}');
  } catch {
    return {};
  }
  if (typeof kept !== 'object' || kept === null) return {};
  const times = kept as Record<string, unknown>;
  return Object.fromEntries(
    PREFLIGHT_ITEMS.flatMap(({ id }) => {
      const at = times[id];
      const ms = typeof at === 'string' && at.endsWith('Z') ? Date.parse(at) : NaN;
      return ms <= nowMs && nowMs - ms < HOLDS_MS ? [[id, new Date(ms).toISOString()]] : [];
    }),
  );
}

export function checklistOf(ticks: Ticks, found: readonly CheckFound[]): Checklist {
  return {
    ticks: PREFLIGHT_ITEMS.flatMap(({ id }) => {
      const at = ticks[id];
      return at === undefined ? [] : [{ id, at }];
    }),
    found: [...found],
  };
}

/** A channel of a connected meter, as the page sees it. */
export interface SeenChannel {
  readonly meterKey: string;
  readonly meterName: string;
  readonly quantity: 'current' | 'voltage' | 'temperature';
  /** The last digit, where the meter's format has one. */
  readonly step: number | null;
  /** On the server's clock. */
  readonly atMs: number;
  readonly live: boolean;
  /** The last minute. */
  readonly trace: Trace;
}

export interface Surroundings {
  readonly nowIso: string;
  /** On the server's clock; null before it is known. */
  readonly serverNowMs: number | null;
  readonly channels: readonly SeenChannel[];
  /** The draw limit in use, A. */
  readonly limitA: number;
  readonly zeroChecks: readonly HeldZeroCheck[];
  /** Null where the server's system does not say. */
  readonly freeBytes: number | null;
  /** Of this computer; null where the browser does not say. */
  readonly power: { readonly charging: boolean; readonly level: number } | null;
  readonly screen: 'held' | 'refused' | 'no-such-thing';
  /** True where a meter's radio is in this page, so that the page has to stay. */
  readonly pageRecords: boolean;
}

type Look = Pick<CheckFound, 'verdict' | 'text' | 'value'>;

/** Everything that the page can look at itself, with its figure. */
export function lookAround(s: Surroundings): CheckFound[] {
  const looks: readonly (readonly [PreflightCheckId, Look])[] = [
    ['readings', readings(s)],
    ['rate', rate(s)],
    ['resolution', resolution(s)],
    ['noise', noise(s)],
    ['offset', offset(s)],
    ['disk', disk(s)],
    ['power', power(s)],
    ['screen', screen(s)],
  ];
  return looks.map(([id, { verdict, text, value }]) => ({ id, verdict, text, value, at: s.nowIso }));
}

const NO_CURRENT: Look = { verdict: 'not-known', text: 'No clamp or in-line meter is sending.', value: null };

function currentOf(s: Surroundings): SeenChannel | null {
  return s.channels.find((c) => c.quantity === 'current') ?? null;
}

function isFresh(c: SeenChannel, nowMs: number | null): boolean {
  return c.live && (nowMs === null || nowMs - c.atMs <= OLD_AFTER_MS);
}

function readings({ channels, serverNowMs }: Surroundings): Look {
  const fresh = channels.filter((c) => isFresh(c, serverNowMs));
  if (channels.length === 0) return { verdict: 'poor', text: 'No meter is sending.', value: 0 };
  if (fresh.length < channels.length) {
    const old = channels.find((c) => !fresh.includes(c))!;
    const text = `${old.meterName} sends no live ${old.quantity}: is it on hold, in another range, or asleep?`;
    return { verdict: 'poor', text, value: fresh.length };
  }
  const names = fresh.map((c) => `${c.quantity} from ${c.meterName}`).join(', ');
  return { verdict: 'fine', text: `Arriving: ${names}.`, value: fresh.length };
}

/** Seconds between readings of the last minute; null for fewer than five. */
function intervalOf({ trace }: SeenChannel): number | null {
  const gaps = trace.t.slice(1).map((t, i) => (t - trace.t[i]!) / 1000);
  return gaps.length < 4 ? null : median(gaps);
}

/** Most pulse trains of a car asleep lie above this; common practice of the trade, no source. */
const USUAL_PERIOD_S = 0.5;

function rate(s: Surroundings): Look {
  const c = currentOf(s) ?? s.channels.find((x) => x.quantity === 'voltage') ?? null;
  if (c === null) return NO_CURRENT;
  const interval = intervalOf(c);
  if (interval === null || interval <= 0)
    return { verdict: 'not-known', text: 'Too few readings yet; wait a few seconds.', value: null };
  // Uniform sampling times nothing faster than twice its interval (Shannon).
  const shortest = 2 * interval;
  const said = `${c.meterName}: ${perSecond(1 / interval)} readings a second`;
  return shortest <= USUAL_PERIOD_S
    ? {
        verdict: 'fine',
        text: `${said}; pulses down to every ${figureText(shortest, 'period')} can be timed.`,
        value: 1 / interval,
      }
    : {
        verdict: 'poor',
        text: `${said}; polling faster than every ${figureText(shortest, 'period')} cannot be timed, but its average counts.`,
        value: 1 / interval,
      };
}

function perSecond(rate: number): string {
  return rate >= 10 ? rate.toFixed(0) : rate.toFixed(1);
}

function resolution(s: Surroundings): Look {
  const c = currentOf(s);
  if (c === null) return NO_CURRENT;
  const step = c.step ?? stepSeen(c.trace);
  if (step === null) return { verdict: 'not-known', text: 'The last digit is not known yet.', value: null };
  const said = `Steps of ${figureText(step, 'current')} against a limit of ${figureText(s.limitA, 'current')}`;
  // A tenth of what is to be decided, as a gauge is chosen; common practice, no source.
  return step <= s.limitA / 10 + 1e-12
    ? { verdict: 'fine', text: `${said}.`, value: step }
    : { verdict: 'poor', text: `${said}: too coarse to settle it. Take a smaller range.`, value: step };
}

function stepSeen(trace: Trace): number | null {
  const y = trace.y.filter((v) => v !== null);
  return y.length < 5 ? null : estimateResolution(Float64Array.from(y));
}

/** From differences of neighbours, so that a step or a slope is not taken for noise; Gaussian scatter assumed. */
export function scatterOf(y: readonly (number | null)[]): number | null {
  const jumps: number[] = [];
  for (let i = 1; i < y.length; i++) {
    const [a, b] = [y[i - 1], y[i]];
    if (typeof a === 'number' && typeof b === 'number') jumps.push(Math.abs(b - a));
  }
  return jumps.length < 10 ? null : median(jumps) / (0.6745 * Math.SQRT2);
}

function noise(s: Surroundings): Look {
  const c = currentOf(s);
  if (c === null) return NO_CURRENT;
  const scatter = scatterOf(c.trace.y);
  if (scatter === null)
    return { verdict: 'not-known', text: 'Too few readings yet; wait a few seconds.', value: null };
  const said = `Readings of ${c.meterName} scatter by ${figureText(scatter, 'current')}`;
  return scatter <= s.limitA / 2
    ? { verdict: 'fine', text: `${said}.`, value: scatter }
    : {
        verdict: 'poor',
        text: `${said}. While the car is awake that is its own doing; otherwise close the jaws and lay the lead still.`,
        value: scatter,
      };
}

function offset(s: Surroundings): Look {
  const c = currentOf(s);
  if (c === null) return NO_CURRENT;
  const nowMs = Date.parse(s.nowIso);
  const check = s.zeroChecks
    .filter((z) => z.meterKey === c.meterKey && z.quantity === 'current')
    .filter((z) => nowMs - Date.parse(z.takenAt) <= ZERO_CHECK_HOLDS_MS)
    .at(-1);
  if (check === undefined)
    return {
      verdict: 'poor',
      text: `No zero check of ${c.meterName} in the last 2 hours: take one on the Meters page, the clamp around nothing.`,
      value: null,
    };
  const minutes = Math.max(0, Math.round((nowMs - Date.parse(check.takenAt)) / 60_000));
  return {
    verdict: 'fine',
    text: `${c.meterName} showed ${figureText(check.mean, 'current')} around nothing, ${minutes} min ago.`,
    value: check.mean,
  };
}

const ENOUGH_BYTES = 1e9;

function disk({ freeBytes }: Surroundings): Look {
  if (freeBytes === null)
    return { verdict: 'not-known', text: 'The server does not say how much room there is.', value: null };
  const said = `${bytesText(freeBytes)} free where the recordings are kept`;
  return freeBytes >= ENOUGH_BYTES
    ? { verdict: 'fine', text: `${said}.`, value: freeBytes }
    : { verdict: 'poor', text: `${said}: make room for at least 1 GB.`, value: freeBytes };
}

export function bytesText(bytes: number): string {
  const [size, unit] = bytes >= 1e9 ? [bytes / 1e9, 'GB'] : [bytes / 1e6, 'MB'];
  return `${size >= 100 ? size.toFixed(0) : size.toPrecision(2)} ${unit}`;
}

function power({ power: p }: Surroundings): Look {
  if (p === null)
    return { verdict: 'not-known', text: 'This browser does not say; look at the plug.', value: null };
  const percent = `${Math.round(p.level * 100)} %`;
  return p.charging
    ? { verdict: 'fine', text: `On mains, its own battery at ${percent}.`, value: p.level }
    : { verdict: 'poor', text: `On its own battery, ${percent} left: plug it in.`, value: p.level };
}

function screen({ screen: lock, pageRecords }: Surroundings): Look {
  if (!pageRecords)
    return {
      verdict: 'fine',
      text: 'No meter hangs on this page; the server records whether it is open or not.',
      value: null,
    };
  switch (lock) {
    case 'held':
      return {
        verdict: 'fine',
        text: 'The screen is kept on while this page is in front: leave it there.',
        value: 1,
      };
    case 'refused':
      return {
        verdict: 'poor',
        text: 'The system refuses to keep the screen on, perhaps to save its battery. Switch its sleep off by hand.',
        value: 0,
      };
    case 'no-such-thing':
      return {
        verdict: 'not-known',
        text: "This browser cannot keep the screen on: switch this computer's sleep off by hand.",
        value: null,
      };
  }
}
