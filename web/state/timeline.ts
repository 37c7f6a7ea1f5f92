import type { CaseTimeline, Note, Photo } from '../../server/messages/casePapers.ts';
import { PREFLIGHT_CHECKS, PREFLIGHT_ITEMS, type Checklist } from '../../server/messages/checklist.ts';
import { figureText } from '../../server/messages/figures.ts';
import type { Recording } from '../../server/messages/records.ts';
import type { ZeroCheck } from '../../server/messages/zeroCheck.ts';
import { attemptRows, type AttemptRow } from './attempts.ts';
import { clockText, dateText } from './clocktime.ts';

/** One thing that happened to a case. `at` is UTC; null where nobody knows. */
export type Entry = { readonly key: string; readonly at: string | null; readonly clock: string } & (
  | { readonly kind: 'recording'; readonly recording: Recording }
  | { readonly kind: 'attempts'; readonly recordingId: string; readonly rows: readonly AttemptRow[] }
  | { readonly kind: 'ticks'; readonly checklist: Checklist; readonly recording: Recording }
  | { readonly kind: 'zero'; readonly check: ZeroCheck; readonly meterName: string }
  | { readonly kind: 'remark'; readonly text: string; readonly recordingId: string }
  | { readonly kind: 'photo'; readonly photo: Photo }
  | { readonly kind: 'note'; readonly note: Note }
);
export type EntryKind = Entry['kind'];

export interface Day {
  readonly day: string;
  readonly entries: readonly Entry[];
}

/** Tries of one recording that follow each other within so long are one entry. */
const ONE_SITTING_MS = 30 * 60_000;

/**
 * All of a case by days, newest first. What belongs to a recording is told by that recording's clock, the rest by the
 * clock of whoever looks.
 * @param zone IANA zone of the reader
 */
export function daysOf(timeline: CaseTimeline, zone: string | null): Day[] {
  const entries = timeline.recordings.flatMap(({ recording, events, zeroChecks, checklist }): Entry[] => {
    const own = (key: string, at: string | null) => ({
      key: `${recording.id} ${key}`,
      at,
      clock: clockAt(at, recording.zone),
    });
    const atMs = (ms: number): string | null =>
      recording.startedAt === null ? null : new Date(Date.parse(recording.startedAt) + ms).toISOString();
    return [
      { ...own('recording', recording.startedAt), kind: 'recording', recording },
      ...(checklist === null || (checklist.ticks.length === 0 && checklist.found.length === 0)
        ? []
        : [{ ...own('ticks', ticksAt(checklist, recording)), kind: 'ticks' as const, checklist, recording }]),
      ...zeroChecks.map((check, i) => ({
        ...own(`zero ${i}`, check.takenAt),
        kind: 'zero' as const,
        check,
        meterName: recording.channels.find((c) => c.meterKey === check.meterKey)?.meterName ?? 'Meter',
      })),
      ...events
        .filter((e) => e.kind === 'note')
        .map((e, i) => ({
          ...own(`note ${i}`, atMs(e.atMs)),
          kind: 'remark' as const,
          text: e.text,
          recordingId: recording.id,
        })),
    ];
  });
  const zones = new Map(timeline.recordings.map((r) => [r.recording.id, r.recording.zone]));
  const reader = (key: string, at: string) => ({ key, at, clock: clockAt(at, zone) });
  const all: Entry[] = [
    ...entries,
    ...sittings(timeline, zones),
    ...timeline.photos.map((photo) => ({
      ...reader(photo.id, photo.addedAt),
      kind: 'photo' as const,
      photo,
    })),
    ...timeline.notes.map((note) => ({ ...reader(note.id, note.addedAt), kind: 'note' as const, note })),
  ];
  return byDays(all, zone);
}

/** The last tick; where only the page looked, the moment of the start. */
function ticksAt({ ticks, found }: Checklist, recording: Recording): string | null {
  const times = [...ticks, ...found].map((t) => t.at).sort();
  return times.at(-1) ?? recording.startedAt;
}

function clockAt(at: string | null, zone: string | null): string {
  return at === null ? '' : clockText({ startedAt: at, zone }, 0);
}

/** Tries that belong together, the newest first within each. */
function sittings(timeline: CaseTimeline, zones: ReadonlyMap<string, string | null>): Entry[] {
  const rows = new Map(attemptRows(timeline.attempts).map((r) => [r.number, r]));
  const out: { at: string | null; recordingId: string; rows: AttemptRow[] }[] = [];
  timeline.attempts.attempts.forEach((a, i) => {
    const row = rows.get(i + 1)!;
    const last = out.at(-1);
    const near =
      last !== undefined &&
      last.recordingId === a.recordingId &&
      (a.at === null || last.at === null || Date.parse(a.at) - Date.parse(last.at) <= ONE_SITTING_MS);
    if (near) {
      last.rows.unshift(row);
      last.at = a.at;
    } else out.push({ at: a.at, recordingId: a.recordingId, rows: [row] });
  });
  return out.map(({ at, recordingId, rows: own }) => ({
    key: `${recordingId} tries ${own[0]!.number}`,
    at,
    clock: clockAt(at, zones.get(recordingId) ?? null),
    kind: 'attempts',
    recordingId,
    rows: own,
  }));
}

function byDays(entries: readonly Entry[], zone: string | null): Day[] {
  const sorted = [...entries].sort((a, b) => (b.at ?? '').localeCompare(a.at ?? ''));
  const days: { day: string; entries: Entry[] }[] = [];
  for (const entry of sorted) {
    const of = entry.kind === 'recording' ? (entry.recording.zone ?? zone) : zone;
    const day =
      entry.at === null ? 'No date' : dateText({ startedAt: entry.at, zone: of }).replace(/,.*$/, '');
    if (days.at(-1)?.day === day) days.at(-1)!.entries.push(entry);
    else days.push({ day, entries: [entry] });
  }
  return days;
}

/** "9 of 11 seen to; not: Meters on fresh cells ...". */
export function ticksText({ ticks }: Checklist): { readonly text: string; readonly left: readonly string[] } {
  const done = new Set(ticks.map((t) => t.id));
  return {
    text: `${done.size} of ${PREFLIGHT_ITEMS.length} seen to`,
    left: PREFLIGHT_ITEMS.filter((i) => !done.has(i.id)).map((i) => i.what),
  };
}

export interface ChecklistLine {
  readonly id: string;
  readonly what: string;
  /** Time of the tick by the clock of the recording; empty where it was left open. */
  readonly clock: string;
  readonly found: string | null;
}

/** Every item of a checklist with the time of its tick, then what the page found. */
export function checklistLines(checklist: Checklist, zone: string | null): ChecklistLine[] {
  const at = new Map<string, string>(checklist.ticks.map((t) => [t.id, t.at]));
  return [
    ...PREFLIGHT_ITEMS.map(({ id, what }) => ({
      id,
      what,
      clock: clockAt(at.get(id) ?? null, zone),
      found: null,
    })),
    ...checklist.found.map((f) => ({
      id: f.id,
      what: PREFLIGHT_CHECKS.find((c) => c.id === f.id)!.what,
      clock: clockAt(f.at, zone),
      found: f.text,
    })),
  ];
}

/** "-12 mA around nothing, scatter 3 mA, 25 readings". */
export function zeroText(check: ZeroCheck): string {
  const kind = check.quantity === 'temperature' ? null : check.quantity;
  const figure = (v: number): string => (kind === null ? `${v.toFixed(1)} °C` : figureText(v, kind));
  return `${figure(check.mean)} with nothing to measure, scatter ${figure(check.scatter)}, ${check.readings} readings`;
}

/** "5 tries: 3 it opened, 2 button only". */
export function sittingText(rows: readonly AttemptRow[]): string {
  const counts = new Map<string, number>();
  for (const r of rows) counts.set(r.label, (counts.get(r.label) ?? 0) + 1);
  const said = [...counts].map(([label, n]) => (counts.size === 1 ? label : `${n} ${label.toLowerCase()}`));
  return `${rows.length === 1 ? '1 try' : `${rows.length} tries`}: ${said.join(', ').toLowerCase()}`;
}
