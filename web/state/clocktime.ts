import { durationText } from '../../server/messages/figures.ts';

/** When a recording began, where that is known; times on its axis are seconds from there. */
export interface Beginning {
  readonly startedAt: string | null;
  /** IANA zone of the car, for example "Europe/London"; null shows UTC. */
  readonly zone: string | null;
}

type Detail = 'minutes' | 'seconds' | 'tenths';

function formatter(zone: string | null, options: Intl.DateTimeFormatOptions): Intl.DateTimeFormat {
  try {
    return new Intl.DateTimeFormat('en-GB', { ...options, timeZone: zone ?? 'UTC' });
  } catch {
    return new Intl.DateTimeFormat('en-GB', { ...options, timeZone: 'UTC' });
  }
}

const cache = new Map<string, Intl.DateTimeFormat>();
function cached(zone: string | null, name: string, options: Intl.DateTimeFormatOptions): Intl.DateTimeFormat {
  const key = `${zone ?? ''}|${name}`;
  let found = cache.get(key);
  if (found === undefined) {
    found = formatter(zone, options);
    cache.set(key, found);
  }
  return found;
}

/** "22:41", "22:41:07" or "22:41:07.3" by the car's clock; time since the start where no clock is known. */
export function clockText(from: Beginning, atS: number, detail: Detail = 'minutes'): string {
  if (from.startedAt === null) return elapsedText(atS, detail);
  const ms = Date.parse(from.startedAt) + atS * 1000;
  const text = cached(from.zone, detail === 'minutes' ? 'm' : 's', {
    hour: '2-digit',
    minute: '2-digit',
    hourCycle: 'h23',
    ...(detail === 'minutes' ? {} : { second: '2-digit' }),
  }).format(new Date(Math.floor(ms / 1000) * 1000));
  if (detail !== 'tenths') return text;
  const tenth = Math.floor((((ms % 1000) + 1000) % 1000) / 100);
  return `${text}.${tenth}`;
}

/** "0:05", "3:07:15", with a sign before the start. */
export function elapsedText(atS: number, detail: Detail = 'minutes'): string {
  const sign = atS < 0 ? '-' : '';
  const tenths = Math.round(Math.abs(atS) * 10);
  const whole = Math.floor(tenths / 10);
  const h = Math.floor(whole / 3600);
  const m = Math.floor((whole % 3600) / 60);
  const s = whole % 60;
  const two = (n: number): string => String(n).padStart(2, '0');
  if (detail === 'minutes') return `${sign}${h}:${two(m)}`;
  const text = `${sign}${h}:${two(m)}:${two(s)}`;
  return detail === 'seconds' ? text : `${text}.${tenths % 10}`;
}

/** "Tue 4 Mar 2025, 22:41", or "no date" for an imported file without one. */
export function dateText(from: Beginning): string {
  if (from.startedAt === null) return 'no date';
  const at = new Date(Date.parse(from.startedAt));
  const day = cached(from.zone, 'day', {
    weekday: 'short',
    day: 'numeric',
    month: 'short',
    year: 'numeric',
  }).format(at);
  return `${day.replace(',', '')}, ${clockText(from, 0)}${from.zone === null ? ' UTC' : ''}`;
}

/** "Wed 5 Mar", for the axis where a new day begins. */
export function dayText(from: Beginning, atS: number): string {
  if (from.startedAt === null) return `day ${Math.floor(atS / 86_400) + 1}`;
  return cached(from.zone, 'axisday', { weekday: 'short', day: 'numeric', month: 'short' })
    .format(new Date(Date.parse(from.startedAt) + atS * 1000))
    .replace(',', '');
}

const STEPS_S = [
  0.1, 0.2, 0.5, 1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 10_800, 21_600, 43_200,
  86_400, 172_800, 432_000, 864_000,
];

/** Seconds by which the zone's clock is ahead of UTC at a time. */
function zoneOffsetS(zone: string | null, utcMs: number): number {
  if (zone === null) return 0;
  const parts = cached(zone, 'parts', {
    year: 'numeric',
    month: 'numeric',
    day: 'numeric',
    hour: 'numeric',
    minute: 'numeric',
    second: 'numeric',
    hourCycle: 'h23',
  }).formatToParts(new Date(utcMs));
  const get = (type: string): number => Number(parts.find((p) => p.type === type)?.value ?? 0);
  const local = Date.UTC(
    get('year'),
    get('month') - 1,
    get('day'),
    get('hour'),
    get('minute'),
    get('second'),
  );
  return Math.round((local - Math.floor(utcMs / 1000) * 1000) / 1000);
}

/**
 * Times of the marks on a time axis from `fromS` to `toS` seconds: on round times of the car's clock, at most
 * `most` of them. The zone's offset is the one at the window's start; a change within it moves later marks
 * off the round hour, never off their place.
 */
export function timeTicks(from: Beginning, fromS: number, toS: number, most: number): number[] {
  const span = toS - fromS;
  if (!(span > 0) || most < 1) return [];
  const step = STEPS_S.find((s) => span / s <= most) ?? Math.ceil(span / most / 864_000) * 864_000;
  const startMs = from.startedAt === null ? 0 : Date.parse(from.startedAt);
  const shift = from.startedAt === null ? 0 : startMs / 1000 + zoneOffsetS(from.zone, startMs + fromS * 1000);
  const first = Math.ceil((fromS + shift) / step - 1e-9);
  const ticks: number[] = [];
  for (let k = first; k * step - shift <= toS + 1e-9; k++) ticks.push(k * step - shift);
  return ticks;
}

/** The label of a mark, by the step between marks. */
export function tickText(from: Beginning, atS: number, stepS: number): string {
  if (stepS >= 86_400) return dayText(from, atS);
  const text = clockText(from, atS + 1e-6, stepS < 1 ? 'tenths' : stepS < 60 ? 'seconds' : 'minutes');
  return from.startedAt !== null && text === '00:00' ? dayText(from, atS + 1e-6) : text;
}

/** "8 h 5 min" for lists. */
export function lengthText(durationMs: number): string {
  return durationMs <= 0 ? 'empty' : durationText(durationMs / 1000);
}
