import type { ReportModel } from './model.ts';

/** The report's figures as a table for a spreadsheet: name, value, note (RFC 4180). */
export function reportCsv({ figures }: ReportModel): string {
  return [['figure', 'value', 'note'], ...figures].map((row) => `${row.map(cell).join(',')}\r\n`).join('');
}

/** A leading sign that a spreadsheet would take for a formula gets an apostrophe before it. */
function cell(text: string): string {
  const safe = /^[=+@]|^-(?!\d)/.test(text) ? `'${text}` : text;
  return /[",\r\n]/.test(safe) ? `"${safe.replaceAll('"', '""')}"` : safe;
}
