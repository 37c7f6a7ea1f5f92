import { fuseRatings, type FuseKind } from '../../server/battery/fuse.ts';
import { dropFigure } from '../../server/battery/fuseWalk.ts';
import type { Estimate } from '../../server/messages/findings.ts';
import { estimateText } from '../../server/messages/figures.ts';
import type { AddFuse, FuseLine, FuseWalk, WholeDraw } from '../../server/messages/fuses.ts';

/** The form for millivolts across a fuse. */
export interface DropForm {
  readonly place: string;
  readonly kind: FuseKind;
  /** Amperes printed on the fuse. */
  readonly rating: string;
  readonly millivolts: string;
}

export const EMPTY_DROP: DropForm = { place: '', kind: 'standard', rating: '10', millivolts: '' };

export function ratingsOf(kind: FuseKind): readonly string[] {
  return fuseRatings(kind).map(String);
}

/** The other kind may not have the same rating. */
export function withKind(form: DropForm, kind: FuseKind): DropForm {
  const ratings = ratingsOf(kind);
  return { ...form, kind, rating: ratings.includes(form.rating) ? form.rating : ratings[0]! };
}

interface Millivolts {
  readonly value: number;
  /** The last digit that was typed. */
  readonly digit: number;
}

/** As the meter shows it: "0.30" is a finer reading than "0.3". Null where that is no figure. */
export function readMillivolts(text: string): Millivolts | null {
  const match = /^[-+\u2212]?\d{1,4}(?:[.,](\d{1,4}))?$/.exec(text.trim());
  if (match === null) return null;
  const value = Number(text.trim().replace(',', '.').replace('\u2212', '-'));
  return Math.abs(value) > 1000 ? null : { value, digit: 10 ** -(match[1]?.length ?? 0) };
}

export type DropErrors = Readonly<Partial<Record<'place' | 'millivolts', string>>>;
export type CheckedDrop =
  { readonly ok: true; readonly fuse: AddFuse } | { readonly ok: false; readonly errors: DropErrors };

export function checkDrop(form: DropForm): CheckedDrop {
  const mv = readMillivolts(form.millivolts);
  const place = form.place.trim();
  const errors: DropErrors = {
    ...(place === '' && { place: 'Name the fuse as the box does.' }),
    ...(mv === null && { millivolts: 'Millivolts as the meter shows them, for example 0.3.' }),
  };
  if (mv === null || place === '') return { ok: false, errors };
  const { kind, rating } = form;
  const measured = {
    way: 'drop',
    kind,
    rating: Number(rating),
    millivolts: mv.value,
    digitMv: mv.digit,
  } as const;
  return { ok: true, fuse: { place, measured } };
}

/** What the millivolts come to while they are typed; empty where they are no figure yet. */
export function dropPreview(form: DropForm): string {
  const mv = readMillivolts(form.millivolts);
  if (mv === null) return '';
  const found = dropFigure(form.kind, Number(form.rating), mv.value, mv.digit);
  return found === null ? '' : `${estimateText(found.currentA, 'current')!}. ${found.says}`;
}

export interface FuseRow {
  readonly id: string;
  readonly place: string;
  readonly figure: string;
  readonly how: string;
  readonly says: string;
  /** Of the largest figure or the whole draw, from 0 to 1; null without a figure. */
  readonly share: number | null;
  /** The fuse is out: it is to be put back. */
  readonly isOut: boolean;
}

/** The lines, largest current first, what is still being measured before them. */
export function fuseRows(walk: FuseWalk): FuseRow[] {
  const whole = Math.max(walk.clampA?.value ?? 0, ...walk.lines.map((l) => l.currentA?.value ?? 0));
  return [...walk.lines]
    .sort((a, b) => rank(b) - rank(a))
    .map((line) => ({
      id: line.id,
      place: line.place,
      figure: estimateText(line.currentA, 'current') ?? (isOut(line) ? 'being measured' : 'no figure'),
      how: howText(line),
      says: line.says,
      share: shareOf(line.currentA, whole),
      isOut: isOut(line),
    }));
}

function rank(line: FuseLine): number {
  return isOut(line) ? Infinity : (line.currentA?.value ?? -Infinity);
}

function isOut({ measured }: FuseLine): boolean {
  return measured.way === 'pull' && measured.untilS === null && !measured.isFinal;
}

function shareOf(estimate: Estimate, whole: number): number | null {
  return estimate === null || !(whole > 0) ? null : Math.min(1, Math.max(0, estimate.value / whole));
}

function howText({ measured: m }: FuseLine): string {
  return m.way === 'drop'
    ? `${m.millivolts.toFixed(decimalsOf(m.digitMv))} mV, ${m.kind} ${m.rating} A`
    : `Pulled${m.beforeA === null || m.afterA === null ? '' : `: ${estimateText(m.beforeA, 'current')!} before, ${estimateText(m.afterA, 'current')!} after`}`;
}

function decimalsOf(digit: number): number {
  return Math.max(0, Math.round(-Math.log10(digit)));
}

/** The sum against the clamp, as lines of a table. */
export function balance(walk: FuseWalk): readonly (readonly [string, string])[] {
  const text = (e: Estimate): string => estimateText(e, 'current') ?? 'not known yet';
  return [
    ['Whole draw by the clamp', text(walk.clampA)],
    ['Sum of the fuses', text(walk.sumA)],
    ['Not explained', text(walk.unexplainedA)],
  ];
}

/** A whole draw that was read by eye: milliamperes and by how much they may be off. */
export function checkWhole(milliamps: string, plusMinus: string): WholeDraw | string {
  const number = (text: string): number =>
    /^\d+([.,]\d+)?$/.test(text.trim()) ? Number(text.trim().replace(',', '.')) / 1000 : NaN;
  const [amps, uncertaintyA] = [number(milliamps), number(plusMinus)];
  if (!(amps <= 100)) return 'Milliamperes as the clamp shows them, for example 310.';
  if (!(uncertaintyA <= 100)) return 'By how much the clamp may be off, for example 5.';
  return { amps, uncertaintyA };
}
