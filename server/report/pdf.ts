import fontkit from '@cantoo/fontkit';
import { PDFDocument, StandardFonts, type PDFFont } from '@cantoo/pdf-lib';
import { drawNight } from './chart.ts';
import type { ReportModel, Section } from './model.ts';
import { INK } from './palette.ts';
import { PAPERS, PdfSheet, type Paper, type SheetFonts } from './pdfSheet.ts';
import { builtIn } from './printable.ts';

/** Sizes that are tried, largest first, until the customer's report fits its one page. */
const SCALES = [0.9, 0.84, 0.78, 0.72, 0.66];

/** TrueType fonts for texts that the built-in ones cannot print. */
export interface WideFonts {
  readonly plain: Uint8Array;
  readonly bold: Uint8Array;
}

/** The report as a PDF: vector chart, selectable text, page numbers, title and language in its metadata. */
export async function reportPdf(
  model: ReportModel,
  paper: Paper,
  wide: WideFonts | null = null,
): Promise<Uint8Array> {
  if (model.reader === 'workshop') return (await written(model, paper, 1, wide)).save();
  for (const scale of SCALES) {
    const pdf = await written(model, paper, scale, wide);
    if (pdf.getPageCount() === 1 || scale === SCALES.at(-1)) return pdf.save();
  }
  throw new RangeError('no size to try');
}

async function written(
  model: ReportModel,
  paper: Paper,
  scale: number,
  wide: WideFonts | null,
): Promise<PDFDocument> {
  const pdf = await PDFDocument.create({ updateMetadata: false });
  describe(pdf, model);
  const fonts = await fontsOf(pdf, wide);
  const sheet = new PdfSheet(pdf, fonts, PAPERS[paper], scale);
  head(sheet, model);
  rows(sheet, model.about, fonts.plain, 110);
  sheet.heading('Figures');
  rows(sheet, model.figures, fonts.bold, 140, 130);
  const panel = model.reader === 'customer' ? 84 * scale : Math.min(110, 270 / model.curves.length);
  const chart = drawNight(model, sheet.width, panel);
  sheet.heading('The night', chart.height);
  sheet.drawing(chart);
  for (const section of model.sections) sectionOf(sheet, section, fonts.plain);
  if (model.photos.length > 0) await photos(sheet, pdf, model.photos);
  const made = `Nightdraw ${model.version}, made ${model.madeAt.slice(0, 16).replace('T', ' ')} UTC`;
  sheet.footers(`${model.title}: ${model.subject}`, made);
  return pdf;
}

async function fontsOf(pdf: PDFDocument, wide: WideFonts | null): Promise<SheetFonts> {
  if (wide === null)
    return {
      plain: await pdf.embedFont(StandardFonts.Helvetica),
      bold: await pdf.embedFont(StandardFonts.HelveticaBold),
      has: builtIn,
    };
  pdf.registerFontkit(fontkit);
  const [plain, bold] = [
    await pdf.embedFont(wide.plain, { subset: true }),
    await pdf.embedFont(wide.bold, { subset: true }),
  ];
  const signs = new Set(plain.getCharacterSet());
  return { plain, bold, has: (sign) => signs.has(sign.codePointAt(0)!) };
}

function describe(pdf: PDFDocument, model: ReportModel): void {
  const madeAt = new Date(model.madeAt);
  pdf.setTitle(`${model.title}: ${model.subject}`, { showInWindowTitleBar: true });
  pdf.setSubject(model.verdict.headline);
  pdf.setCreator(`Nightdraw ${model.version}`);
  pdf.setProducer(`Nightdraw ${model.version}`);
  pdf.setLanguage('en-GB');
  pdf.setCreationDate(madeAt);
  pdf.setModificationDate(madeAt);
}

function head(sheet: PdfSheet, { title, subject, verdict }: ReportModel): void {
  sheet.text(title, { size: 19, bold: true, colour: INK.lamp });
  sheet.text(subject, { size: 10.5, colour: INK.ink2 });
  sheet.space(6);
  sheet.bar(INK[verdict.level], () => {
    sheet.text(verdict.headline, { size: 13, bold: true });
    for (const text of verdict.because) sheet.text(text, { size: 9.5 });
    if (verdict.next !== null) sheet.text(`Next: ${verdict.next}`, { size: 9.5 });
  });
  sheet.space(9);
}

function sectionOf(sheet: PdfSheet, { title, paragraphs, facts, bullets }: Section, font: PDFFont): void {
  sheet.heading(title);
  for (const text of paragraphs) sheet.text(text, { size: 9 });
  if (facts.length > 0) sheet.space(3);
  rows(sheet, facts, font, 120, 150);
  if (facts.length > 0) sheet.space(3);
  for (const text of bullets) sheet.text(text, { size: 9, indent: 12, bullet: true });
}

function rows(sheet: PdfSheet, table: ReportModel['about'], font: PDFFont, ...widths: number[]): void {
  for (const row of table) sheet.row(row, widths, font);
}

/** Two side by side, each with what it shows below it. */
async function photos(sheet: PdfSheet, pdf: PDFDocument, all: ReportModel['photos']): Promise<void> {
  sheet.heading('Photos', 120);
  for (let i = 0; i < all.length; i += 2) {
    const pair = all.slice(i, i + 2).map(async ({ type, octets, caption }) => ({
      image: await (type === 'image/png' ? pdf.embedPng(octets) : pdf.embedJpg(octets)),
      caption,
    }));
    sheet.pictures(await Promise.all(pair));
  }
}
