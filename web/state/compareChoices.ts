import type { Recording } from '../../server/messages/records.ts';
import { dateText, lengthText } from './clocktime.ts';

export interface CompareChoice {
  readonly id: string;
  readonly label: string;
  /** In order of time: the earlier recording is "before". */
  readonly before: string;
  readonly after: string;
}

/** Recordings that one can be compared with, those of nearly its length first. */
export function compareChoices(one: Recording, all: readonly Recording[]): CompareChoice[] {
  const ratio = (r: Recording): number => Math.abs(Math.log((r.durationMs + 1000) / (one.durationMs + 1000)));
  return all
    .filter((r) => r.id !== one.id && r.durationMs > 0)
    .sort((a, b) => ratio(a) - ratio(b))
    .map((r) => {
      const isEarlier = (r.startedAt ?? '') < (one.startedAt ?? '');
      const [before, after] = isEarlier ? [r.id, one.id] : [one.id, r.id];
      const when = r.startedAt === null ? [] : [dateText(r)];
      return { id: r.id, label: [r.title, ...when, lengthText(r.durationMs)].join(', '), before, after };
    });
}
