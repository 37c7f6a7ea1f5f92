import type { Case } from '../../server/messages/records.ts';
import { casesInOrder } from './recordings.ts';

export type Shelf = 'open' | 'archived';

const plain = (text: string): string => text.normalize('NFKD').replace(/\p{M}/gu, '').toLowerCase();
/** Plates and VINs are written with and without spaces, hyphens and dots. */
const tight = (text: string): string => plain(text).replace(/[\s.-]/g, '');

/** Whether each word asked for is in title, plate or VIN, complaint or who asked, in any order, accents aside. */
export function matches(c: Case, asked: string): boolean {
  const words = plain(asked).split(/\s+/).filter(Boolean);
  const text = plain([c.title, c.plateOrVin, c.complaint, c.askedBy].join('\n'));
  const plate = tight(c.plateOrVin);
  const whole = tight(asked);
  return (
    (whole.length >= 3 && plate.includes(whole)) ||
    words.every((w) => text.includes(w) || (w.length >= 3 && plate.includes(tight(w))))
  );
}

export interface FoundCases {
  readonly cases: readonly Case[];
  /** How many are found on each shelf. */
  readonly open: number;
  readonly archived: number;
}

/** What is found on one shelf, in the order of the list. */
export function findCases(cases: readonly Case[], asked: string, shelf: Shelf): FoundCases {
  const found = casesInOrder(cases.filter((c) => matches(c, asked)));
  const [open, archived] = [found.filter((c) => !isArchived(c)), found.filter(isArchived)];
  return { cases: shelf === 'open' ? open : archived, open: open.length, archived: archived.length };
}

export function isArchived(c: Case): boolean {
  return typeof c.archivedAt === 'string';
}
