import { readFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import type { ReportModel } from '../report/model.ts';
import type { WideFonts } from '../report/pdf.ts';
import { isPlain } from '../report/printable.ts';

/** Fonts for a report with letters beyond those of western Europe; null where the built-in ones do. */
export function wideFontsFor(model: ReportModel): WideFonts | null {
  if (isPlain(model)) return null;
  const { resolve } = createRequire(import.meta.url);
  const font = (name: string) =>
    new Uint8Array(readFileSync(resolve(`dejavu-fonts-ttf/ttf/DejaVuSans${name}.ttf`)));
  return { plain: font(''), bold: font('-Bold') };
}
