import type { Findings } from './findings.ts';
import { durationText, figureText } from './figures.ts';

/** A night in one sentence, for somebody who walks past: "Asleep since 22:41, 31 mA, polling every 0.76 s." */
export function glanceOf(f: Findings, zone: string | null): string {
  const parts = [...asleepPart(f, zone), ...pollingPart(f), ...wakingPart(f)];
  return `${parts.join(', ')}.`;
}

function asleepPart(f: Findings, zone: string | null): string[] {
  const { state, timeToSleepS } = f.sleep;
  const asleep = amps(f.draw.averageAfterSleepA) ?? amps(f.draw.averageLastHourA);
  const awake = amps(f.draw.averageLastHourA);
  const ran = durationText(f.recording.durationS);
  switch (state) {
    case 'slept':
      return [`Asleep since ${clockText(f, timeToSleepS ?? 0, zone)}`, ...asleep];
    case 'asleep-from-start':
      return ['Asleep from the start', ...asleep];
    case 'never-slept':
      return [`Still awake after ${ran}`, ...awake];
    case 'undetermined':
      return f.recording.channels.some((c) => c.quantity === 'current' && c.samples > 0)
        ? [`Not settled yet after ${ran}`, ...awake]
        : ['No current is recorded, so sleep cannot be told', ...restPart(f)];
  }
}

function clockText(f: Findings, atS: number, zone: string | null): string {
  const { startedAt } = f.recording;
  return startedAt === null ? `${durationText(atS)} after the start` : hourText(startedAt, atS, zone);
}

function amps(estimate: Findings['draw']['averageLastHourA']): string[] {
  return estimate === null ? [] : [shortAmps(estimate.value)];
}

/** Two or three digits, as one says it. */
function shortAmps(a: number): string {
  const size = Math.abs(a);
  if (size < 1) return `${Number((a * 1000).toPrecision(size < 0.0995 ? 2 : 3))} mA`;
  return figureText(a, 'current');
}

function restPart(f: Findings): string[] {
  const rest = f.battery.restVoltageV;
  return rest === null ? [] : [`rest voltage ${rest.value.toFixed(2)} V`];
}

function pollingPart(f: Findings): string[] {
  const { state, regimes } = f.polling;
  const last = regimes.filter((r) => r.periodS !== null).at(-1);
  switch (state) {
    case 'resolved':
      return last === undefined ? [] : [`polling every ${Number(last.periodS!.value.toPrecision(2))} s`];
    case 'stopped':
      return ['polling stopped'];
    case 'unresolved':
      return ['polling too fast for this meter'];
    case 'absent':
    case 'undetermined':
      return [];
  }
}

function wakingPart(f: Findings): string[] {
  const n = f.wakeUps.length;
  if (n === 0) return [];
  return [n === 1 ? 'woke once' : n === 2 ? 'woke twice' : `woke ${n} times`];
}

/** Hours and minutes at the car, by its zone where one is known and usable. */
export function hourText(startedAt: string, atS: number, zone: string | null): string {
  const at = new Date(Date.parse(startedAt) + atS * 1000);
  const format = { hour: '2-digit', minute: '2-digit', hourCycle: 'h23' } as const;
  try {
    return new Intl.DateTimeFormat('en-GB', { ...format, timeZone: zone ?? 'UTC' }).format(at);
  } catch {
    return `${new Intl.DateTimeFormat('en-GB', { ...format, timeZone: 'UTC' }).format(at)} UTC`;
  }
}
