import { PDFDocument } from '@cantoo/pdf-lib';
import { inflateSync } from 'node:zlib';
import { afterAll, beforeAll, describe, expect, it, test } from 'vitest';
import { drawNight, niceScale } from '../../server/report/chart.ts';
import { reportCsv } from '../../server/report/csv.ts';
import { reportHtml } from '../../server/report/html.ts';
import type { Reader } from '../../server/report/input.ts';
import type { ReportModel } from '../../server/report/model.ts';
import { reportPdf } from '../../server/report/pdf.ts';
import { printable } from '../../server/report/printable.ts';
import { reportOfNight } from '../../server/sealing/reportNight.ts';
import { wideFontsFor } from '../../server/sealing/pdfFonts.ts';
import { signerIn } from '../../server/sealing/keyFile.ts';
import { columnsOf } from '../../server/samples/columns.ts';
import { sealingBench, SEALED_AT, VERSION, type SealingBench } from '../helpers/sealedNight.ts';

let bench: SealingBench;
beforeAll(() => (bench = sealingBench()));
afterAll(() => bench.close());

const model = (reader: Reader = 'workshop', anonymous = false): ReportModel =>
  reportOfNight(bench.store, bench.recordingId, {
    data: bench.data,
    signer: signerIn(bench.data),
    version: VERSION,
    madeAt: SEALED_AT,
    reader,
    anonymous,
  });

function inflatedStreams(octets: Uint8Array): string[] {
  const raw = Buffer.from(octets);
  const out: string[] = [];
  for (let at = raw.indexOf('stream\n'); at >= 0; at = raw.indexOf('stream\n', at + 7)) {
    try {
      out.push(inflateSync(raw.subarray(at + 7)).toString('latin1'));
    } catch {
      continue;
    }
  }
  return out;
}

/** The text that the pages of a PDF show, decoded from their streams. */
function textOfPdf(octets: Uint8Array): string {
  return inflatedStreams(octets)
    .flatMap((content) => [...content.matchAll(/<([0-9A-Fa-f]+)> Tj/g)])
    .map(([, hexText]) => `${Buffer.from(hexText!, 'hex').toString('latin1')}\n`)
    .join('');
}

describe('the model', () => {
  test('says the verdict, the car, every figure, what was not tested, cautions and limits of a seal', () => {
    const m = model();
    expect(m.about).toContainEqual(['Plate or VIN', 'AB12 CDE']);
    expect(m.figures.map(([name]) => name)).toEqual([
      'Rest voltage',
      'State of charge',
      'Average draw after sleep',
      'Settled draw',
      'Time to sleep',
      'Polling period',
      'Wake-ups',
      'Days to the unreliable zone',
    ]);
    const titles = m.sections.map((s) => s.title);
    for (const title of ['Findings', 'How it was measured', 'What was not tested', 'Cautions', 'Seal'])
      expect(titles).toContain(title);
    expect(JSON.stringify(m.sections)).toMatch(/does not show that the clamp sat on the right cable/);
    expect(JSON.stringify(m)).not.toMatch(/undefined|NaN/);
  });

  test('without identity names nobody', () => {
    const text = JSON.stringify(model('workshop', true));
    expect(text).not.toMatch(/AB12|Example|Handle dead/);
  });
});

describe('HTML', () => {
  test('loads nothing, and shows whatever was typed as text', () => {
    const html = reportHtml({ ...model(), subject: '<script>alert(1)</script>"&' });
    expect(html).toContain("default-src 'none'");
    expect(html).not.toMatch(/<script|<link|<img|<iframe|src=|href=|url\(|@import|https?:/i);
    expect(html).toContain('&lt;script&gt;alert(1)&lt;/script&gt;&quot;&amp;');
    expect(html).toContain('<svg');
  });
});

describe('PDF', () => {
  it.each([
    ['a4', 595.28, 841.89],
    ['letter', 612, 792],
  ] as const)('%s has its size, a title, a language, text and page numbers', async (paper, width, height) => {
    const octets = await reportPdf(model(), paper);
    const pdf = await PDFDocument.load(octets, { updateMetadata: false });
    for (const page of pdf.getPages()) expect(page.getSize()).toEqual({ width, height });
    expect(pdf.getTitle()).toBe('Overnight battery report: Customer Example');
    expect(pdf.getCreationDate()?.toISOString()).toBe(SEALED_AT);
    expect(pdf.catalog.toString()).toMatch(/\/Lang/);
    const text = textOfPdf(octets);
    for (const part of ['Overnight battery report', 'AB12 CDE', 'Rest voltage', 'Cautions'])
      expect(text).toContain(part);
    const pages = pdf.getPageCount();
    for (let n = 1; n <= pages; n++) expect(text).toContain(`Page ${n} of ${pages}`);
    expect(pages).toBeGreaterThan(1);
  });

  it.each(['a4', 'letter'] as const)("the customer's is one page of %s", async (paper) => {
    const octets = await reportPdf(model('customer'), paper);
    expect((await PDFDocument.load(octets)).getPageCount()).toBe(1);
    expect(textOfPdf(octets)).toContain('Page 1 of 1');
  });

  test('is the same to the last bit when made again', async () => {
    expect(await reportPdf(model(), 'a4')).toEqual(await reportPdf(model(), 'a4'));
  });

  test('a long complaint goes on over pages, and signs that the font lacks do not stop it', async () => {
    const long = {
      ...model(),
      about: [['Complaint', `\u{1f50b}\u0141\u00f3d\u017a ${'word '.repeat(3000)}${'x'.repeat(900)}`]],
    };
    const octets = await reportPdf(long, 'a4');
    expect((await PDFDocument.load(octets)).getPageCount()).toBeGreaterThan(4);
  });
});

test('letters beyond western Europe are printed as they are, with fonts that come along', async () => {
  const names = 'Łukasz Żółw, Чехов, Αθήνα, Đặng';
  const wide = { ...model(), about: [['Case', names]] };
  const fonts = wideFontsFor(wide);
  expect(fonts).not.toBeNull();
  const octets = await reportPdf(wide, 'a4', fonts);
  expect(octets.length).toBeLessThan(150_000);
  const pdf = await PDFDocument.load(octets);
  const streams = pdf.context.enumerateIndirectObjects().map(([, object]) => String(object));
  expect(streams.filter((text) => text.includes('/FontFile2'))).toHaveLength(2);
  // Each letter used is in a font's own table from glyphs back to letters (ISO 32000-1, 9.10.3).
  const unicode = inflatedStreams(octets)
    .filter((text) => text.includes('beginbfchar'))
    .join('\n');
  for (const sign of names.replace(/[ ,]/g, ''))
    expect(unicode, sign).toContain(`<${sign.codePointAt(0)!.toString(16).padStart(4, '0').toUpperCase()}>`);
  expect(wideFontsFor(model())).toBeNull();
});

test('text in signs that the PDF has', () => {
  expect(printable('12.6 V \u00b1 0.1, \u20ac, \u00dc')).toBe('12.6 V \u00b1 0.1, \u20ac, \u00dc');
  expect(printable('\u0160koda \u010cern\u00fd\t\u4f60')).toBe('\u0160koda Cern\u00fd ?');
});

test('CSV quotes, and gives a spreadsheet no formula', () => {
  const rows = [['=1+1', 'a "b", c', '-5 A']];
  expect(reportCsv({ ...model(), figures: rows })).toBe(`figure,value,note\r\n'=1+1,"a ""b"", c",-5 A\r\n`);
});

describe('the chart', () => {
  test('keeps every extreme within the panel and never draws across a gap', () => {
    const [first, ...rest] = model().curves;
    const t = [0, 100, 200, 9000, 9100];
    const curve = { ...first!, t, min: [1, 1, 1, 1, 1], max: [1, 2, 1, 5, 1], cutAt: null };
    const { shapes, width, height } = drawNight(
      { ...model(), durationS: 10_800, curves: [curve, ...rest] },
      500,
      100,
    );
    const lines = shapes.flatMap((s) => (s.kind === 'line' && s.width === 0.7 ? [s.points] : []));
    expect(lines[0]!).toHaveLength(6);
    expect(lines[1]!).toHaveLength(4);
    for (const [x, y] of lines.flat()) {
      expect(x >= 0 && x <= width && y >= 0 && y <= height).toBe(true);
    }
  });

  it.each([
    [0, 0.9, { from: 0, to: 1, step: 0.5 }],
    [11.9, 12.3, { from: 11.9, to: 12.3, step: 0.1 }],
    [0, 16, { from: 0, to: 20, step: 5 }],
  ])('scale from %d to %d', (low, high, expected) => {
    const scale = niceScale(low, high);
    for (const key of ['from', 'to', 'step'] as const) expect(scale[key]).toBeCloseTo(expected[key], 9);
  });
});

test('a 12-hour night at 10 readings a second is reported in seconds (aim: 3)', async () => {
  const { store } = bench;
  const { id, channels } = store.createRecording({
    caseId: null,
    kind: 'imported',
    title: 'Long night',
    startedAt: SEALED_AT,
    zone: 'Europe/Oslo',
    provenance: '',
    state: 'recording',
    channels: (['current', 'voltage'] as const).map((quantity) => ({
      meterKey: 'file:x',
      meterName: 'x',
      driver: 'csv',
      key: quantity,
      quantity,
      label: '',
      apertureMs: null,
    })),
  });
  const n = 12 * 3600 * 10;
  const t = Float64Array.from({ length: n }, (_, i) => i * 100);
  const noise = (i: number) => Math.round(3 * Math.sin(i * 12.9898) + 2 * Math.sin(i * 78.233));
  const current = t.map((x, i) => (x < 1.2e6 ? 900 : i % 8 === 0 ? 220 : 25) + noise(i));
  const volts = t.map((x, i) => 12_600 - Math.round(x / 1e6) + noise(i));
  const scale = new Int8Array(n).fill(-3);
  store.commit({
    recordingId: id,
    samples: [current, volts].map((counts, k) => ({
      channelId: channels[k]!.id,
      columns: columnsOf(t, counts, scale, new Uint16Array(n)),
    })),
    gaps: [],
    events: [],
    batch: null,
  });
  store.stopRecording(id, n * 100);
  const begun = performance.now();
  const made = reportOfNight(store, id, {
    data: bench.data,
    signer: signerIn(bench.data),
    version: VERSION,
    madeAt: SEALED_AT,
    reader: 'workshop',
  });
  const octets = await reportPdf(made, 'a4');
  expect(performance.now() - begun).toBeLessThan(3000 * 4); // four times the aim, for a busy machine
  expect(octets.length).toBeGreaterThan(10_000);
});
