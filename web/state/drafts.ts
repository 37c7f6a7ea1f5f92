import type { CaseForm } from './caseForm.ts';

/** Where the text of a form that is not saved yet outlives a reload. */
export function draftKey(caseId: string | null): string {
  return `nightdraw.draft.case.${caseId ?? 'new'}`;
}

/** Null where nothing was changed: then there is nothing to keep. */
export function draftText(form: CaseForm, first: CaseForm): string | null {
  const text = JSON.stringify(form);
  return text === JSON.stringify(first) ? null : text;
}

/** The kept text over the form as it is; what an older page kept in another shape is left out field by field. */
export function draftOver(first: CaseForm, text: string | null): CaseForm {
  let kept: unknown;
  try {
    kept = JSON.parse(text ?? 'null');
  } catch {
    kept = null;
  }
  if (typeof kept !== 'object' || kept === null) return first;
  const over = kept as Readonly<Record<string, unknown>>;
  const fields = Object.entries(first).filter(([name, value]) => sameShape(value, over[name]));
  return { ...first, ...Object.fromEntries(fields.map(([name]) => [name, over[name]])) };
}

function sameShape(a: unknown, b: unknown): boolean {
  if (typeof a === 'string') return typeof b === 'string' && b.length <= 8000;
  return (
    typeof b === 'object' &&
    b !== null &&
    !Array.isArray(b) &&
    Object.values(b).every((v) => typeof v === 'string' && v.length <= 8000)
  );
}
