import type { Case, Recording } from '../../server/messages/records.ts';
import { dateText, lengthText } from './clocktime.ts';

export const KIND_WORDS: Readonly<Record<Recording['kind'], string>> = {
  'live-watch': 'Live watch',
  'overnight-test': 'Overnight test',
  imported: 'Imported',
};

/** "voltage and current": what a recording holds. */
export function holdsText(r: Recording): string {
  const names = [...new Set(r.channels.map((c) => c.quantity))];
  if (names.length === 0) return 'no readings yet';
  return names.length === 1 ? names[0]! : `${names.slice(0, -1).join(', ')} and ${names[names.length - 1]!}`;
}

/** One line under a recording's title; `caseTitle` where it is not plain from its surroundings. */
export function recordingLine(r: Recording, caseTitle: string | null = null): string {
  const length = r.state === 'recording' ? 'running now' : lengthText(r.durationMs);
  return [caseTitle, KIND_WORDS[r.kind], dateText(r), length, holdsText(r)]
    .filter((t) => t !== null)
    .join(' · ');
}

/** The newest recording of each case, by the case's id. */
export function newestOfCases(recordings: readonly Recording[]): ReadonlyMap<string, Recording> {
  const out = new Map<string, Recording>();
  for (const r of recordings) {
    if (r.caseId === null) continue;
    const known = out.get(r.caseId);
    if (known === undefined || (r.startedAt ?? '') > (known.startedAt ?? '')) out.set(r.caseId, r);
  }
  return out;
}

/** Demo cases last, newest first in each part. */
export function casesInOrder(cases: readonly Case[]): Case[] {
  return [...cases].sort((a, b) => Number(a.demo) - Number(b.demo) || b.createdAt.localeCompare(a.createdAt));
}

export function recordingsCountText(n: number): string {
  return n === 0 ? 'no recordings' : n === 1 ? '1 recording' : `${n} recordings`;
}

/** What happens to a case and its recordings when it is deleted. */
export function deletionText(n: number, days: number): string {
  const gone = `It can be brought back for ${days} days, with its photos and notes.`;
  if (n === 0) return gone;
  return `${gone} ${n === 1 ? 'Its recording stays' : `Its ${n} recordings stay`} under Recordings meanwhile.`;
}

/** When a deleted case goes for good. */
export function goesOnText(deletedAt: string | null, days: number): string {
  if (deletedAt === null) return '';
  const goes = new Date(Date.parse(deletedAt) + days * 86_400_000).toISOString();
  return `Goes for good after ${dateText({ startedAt: goes, zone: null }).replace(/,.*$/, '')}`;
}

/** A first name for a recording that is about to begin. */
export function defaultTitle(kind: Recording['kind'], utcMs: number, zone: string | null): string {
  const when = dateText({ startedAt: new Date(utcMs).toISOString(), zone });
  return `${KIND_WORDS[kind]}, ${when.replace(/ \d{4},/, ',')}`;
}
