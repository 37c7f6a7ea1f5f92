import {
  LineCapStyle,
  rgb,
  type PDFDocument,
  type PDFFont,
  type PDFImage,
  type PDFPage,
  type RGB,
} from '@cantoo/pdf-lib';
import type { Drawing, Shape } from './chart.ts';
import { INK } from './palette.ts';
import { printable, type Repertoire } from './printable.ts';

/** ISO 216 and ANSI/ASME Y14.1, in points of 1/72 inch. */
export const PAPERS = { a4: [595.28, 841.89], letter: [612, 792] } as const;
export type Paper = keyof typeof PAPERS;

const MARGIN = 46;
const FOOT = 40;

export interface SheetFonts {
  readonly plain: PDFFont;
  readonly bold: PDFFont;
  /** The signs that both have. */
  readonly has: Repertoire;
}

export interface TextStyle {
  readonly size: number;
  readonly bold?: boolean;
  readonly colour?: string;
  readonly indent?: number;
  readonly bullet?: boolean;
}

/** Paper that is written on from top to bottom, with a new page where one is full. */
export class PdfSheet {
  readonly width: number;
  private page: PDFPage;
  private y: number;
  private indent = 0;

  constructor(
    private readonly pdf: PDFDocument,
    private readonly fonts: SheetFonts,
    private readonly paper: readonly [number, number],
    /** All sizes of text and spaces, times this. */
    private readonly scale: number,
  ) {
    this.width = paper[0] - 2 * MARGIN;
    this.page = pdf.addPage([...paper]);
    this.y = paper[1] - MARGIN;
  }

  space(points: number): void {
    this.y -= points * this.scale;
  }

  text(text: string, { size, bold = false, colour = INK.ink, indent = 0, bullet = false }: TextStyle): void {
    const font = bold ? this.fonts.bold : this.fonts.plain;
    const left = MARGIN + this.indent + indent;
    const points = size * this.scale;
    this.lines(text, font, points, this.paper[0] - MARGIN - left).forEach((line, i) => {
      this.need(points * 1.35);
      this.y -= points * 1.35;
      if (bullet && i === 0) this.put('\u2022', left - 8, points, font, colour);
      this.put(line, left, points, font, colour);
    });
  }

  /** A heading never stands alone at the foot of a page: so much of what follows must fit below it. */
  heading(text: string, following = 24): void {
    this.need(28 * this.scale + following);
    this.space(9);
    this.text(text, { size: 12, bold: true, colour: INK.lamp });
    this.space(2);
  }

  /** Cells side by side, each wrapped in its width; the last takes what is left. */
  row(cells: readonly string[], widths: readonly number[], valueFont: PDFFont): void {
    const size = 9 * this.scale;
    const edges = [0];
    for (const w of widths.slice(0, cells.length - 1)) edges.push(edges.at(-1)! + w);
    const columns = cells.map((cell, k) => {
      const font = k === 1 ? valueFont : this.fonts.plain;
      const room = (edges[k + 1] ?? this.width) - edges[k]! - 8;
      return { font, lines: this.lines(cell, font, size, room), x: MARGIN + edges[k]! };
    });
    const height = Math.max(...columns.map((c) => c.lines.length));
    // A row is not torn apart where a page can hold it.
    this.need(Math.min(height * size * 1.32, this.paper[1] / 3));
    for (let i = 0; i < height; i++) {
      this.need(size * 1.32);
      this.y -= size * 1.32;
      columns.forEach((c, k) => {
        if (c.lines[i] !== undefined) this.put(c.lines[i]!, c.x, size, c.font, k === 0 ? INK.ink2 : INK.ink);
      });
    }
    this.space(1.6);
    this.rule(this.y);
    this.space(1);
  }

  /** A coloured bar at the left of what `content` writes on this page. */
  bar(colour: string, content: () => void): void {
    const [top, page] = [this.y, this.page];
    this.indent = 14;
    content();
    this.indent = 0;
    if (page !== this.page) return;
    page.drawRectangle({
      x: MARGIN,
      y: this.y - 4,
      width: 4,
      height: top - this.y + 2,
      color: colourOf(colour),
    });
  }

  drawing({ height, shapes }: Drawing): void {
    this.need(height);
    const top = this.y;
    for (const shape of shapes) this.shape(shape, top);
    this.y = top - height;
  }

  /** Side by side in columns of equal width, captions below; never torn over two pages. */
  pictures(row: readonly { readonly image: PDFImage; readonly caption: string }[]): void {
    const gap = 12;
    const room = (this.width - gap) / 2;
    const size = 8 * this.scale;
    const boxes = row.map(({ image, caption }) => ({
      image,
      ...image.scaleToFit(room, this.paper[1] / 3),
      lines: this.lines(caption, this.fonts.plain, size, room),
    }));
    const tallest = Math.max(...boxes.map((b) => b.height));
    this.need(tallest + Math.max(...boxes.map((b) => b.lines.length)) * size * 1.35 + 14);
    const top = this.y;
    boxes.forEach(({ image, width, height, lines }, k) => {
      const x = MARGIN + k * (room + gap);
      this.page.drawImage(image, { x, y: top - height, width, height });
      this.y = top - tallest - 2;
      for (const line of lines) {
        this.y -= size * 1.35;
        this.put(line, x, size, this.fonts.plain, INK.ink2);
      }
    });
    this.y = top - tallest - Math.max(...boxes.map((b) => b.lines.length)) * size * 1.35 - 12;
  }

  footers(left: string, right: string): void {
    const pages = this.pdf.getPages();
    pages.forEach((page, i) => {
      this.page = page;
      const size = 7.5;
      this.rule(FOOT - 8);
      const number = `${right}   Page ${i + 1} of ${pages.length}`;
      const [line] = this.lines(left, this.fonts.plain, size, this.width / 2);
      this.y = FOOT - 20;
      this.put(line ?? '', MARGIN, size, this.fonts.plain, INK.ink2);
      const x = this.paper[0] - MARGIN - this.fonts.plain.widthOfTextAtSize(this.printable(number), size);
      this.put(number, x, size, this.fonts.plain, INK.ink2);
    });
  }

  private need(points: number): void {
    if (this.y - points >= FOOT) return;
    this.page = this.pdf.addPage([...this.paper]);
    this.y = this.paper[1] - MARGIN;
  }

  private lines(text: string, font: PDFFont, size: number, width: number): string[] {
    return text.split('\n').flatMap((line) => wrapped(this.printable(line), font, size, width));
  }

  private printable(text: string): string {
    return printable(text, this.fonts.has);
  }

  private put(text: string, x: number, size: number, font: PDFFont, colour: string): void {
    this.page.drawText(this.printable(text), { x, y: this.y, size, font, color: colourOf(colour) });
  }

  private rule(y: number): void {
    const end = { x: this.paper[0] - MARGIN, y };
    this.page.drawLine({ start: { x: MARGIN, y }, end, thickness: 0.4, color: colourOf(INK.rule) });
  }

  private shape(s: Shape, top: number): void {
    if (s.kind === 'box') {
      const { x, y, w, h, colour } = s;
      this.page.drawRectangle({
        x: MARGIN + x,
        y: top - y - h,
        width: w,
        height: h,
        color: colourOf(colour),
      });
    } else if (s.kind === 'line') {
      const path = s.points
        .map(([x, y], i) => `${i === 0 ? 'M' : 'L'}${x.toFixed(2)} ${y.toFixed(2)}`)
        .join('');
      this.page.drawSvgPath(path, {
        x: MARGIN,
        y: top,
        borderColor: colourOf(s.colour),
        borderWidth: s.width,
        borderLineCap: LineCapStyle.Round,
        ...(s.dashed === true && { borderDashArray: [4, 3] }),
      });
    } else {
      const font = this.fonts.plain;
      const text = this.printable(s.text);
      const w = font.widthOfTextAtSize(text, s.size);
      const shift = { start: 0, middle: w / 2, end: w }[s.anchor];
      this.page.drawText(text, {
        x: MARGIN + s.x - shift,
        y: top - s.y,
        size: s.size,
        font,
        color: colourOf(s.colour),
      });
    }
  }
}

/** A paragraph of printable text in lines that fit, but for a single letter wider than a line; a word that is too long for a line is broken. */
function wrapped(text: string, font: PDFFont, size: number, width: number): string[] {
  const fits = (line: string) => font.widthOfTextAtSize(line, size) <= width;
  const lines: string[] = [];
  let line = '';
  for (const word of text.split(' ')) {
    const longer = line === '' ? word : `${line} ${word}`;
    if (fits(longer)) {
      line = longer;
      continue;
    }
    if (line !== '') lines.push(line);
    line = word;
    while (line.length > 1 && !fits(line)) {
      let n = line.length - 1;
      while (n > 1 && !fits(line.slice(0, n))) n--;
      lines.push(line.slice(0, n));
      line = line.slice(n);
    }
  }
  lines.push(line);
  return lines;
}

function colourOf(hexText: string): RGB {
  const [r, g, b] = [1, 3, 5].map((i) => parseInt(hexText.slice(i, i + 2), 16) / 255) as [
    number,
    number,
    number,
  ];
  return rgb(r, g, b);
}
