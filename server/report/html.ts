import { encodeToBase64 } from '@cantoo/pdf-lib';
import { drawNight, type Shape } from './chart.ts';
import type { ReportPhoto } from './input.ts';
import type { ReportModel, Section } from './model.ts';
import { INK } from './palette.ts';

/** The report as one HTML file that loads nothing; its policy forbids scripts and every connection. */
export function reportHtml(model: ReportModel): string {
  const { verdict } = model;
  return `<!doctype html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width">
<meta http-equiv="Content-Security-Policy" content="default-src 'none'; style-src 'unsafe-inline'; img-src data:">
<meta name="generator" content="Nightdraw ${escaped(model.version)}">
<title>${escaped(`${model.title}: ${model.subject}`)}</title>
<style>${STYLE}</style>
</head>
<body>
<main>
<header><h1>${escaped(model.title)}</h1><p>${escaped(model.subject)}</p></header>
<section class="verdict ${verdict.level}"><h2>${escaped(verdict.headline)}</h2>
${verdict.because.map((text) => `<p>${escaped(text)}</p>`).join('\n')}
${verdict.next === null ? '' : `<p><strong>Next:</strong> ${escaped(verdict.next)}</p>`}</section>
${table(model.about)}
<h2>Figures</h2>
${table(model.figures)}
<h2>The night</h2>
${svg(model)}
${model.sections.map(sectionHtml).join('\n')}
${photosHtml(model.photos)}
<footer>Made by Nightdraw ${escaped(model.version)} on ${escaped(model.madeAt)}.</footer>
</main>
</body>
</html>
`;
}

const STYLE = `
:root{color-scheme:light}body{margin:0;background:${INK.sunk};color:${INK.ink};font:15px/1.45 system-ui,sans-serif}
main{max-width:760px;margin:0 auto;padding:24px;background:${INK.ground}}
h1{margin:0;font-size:24px;color:${INK.lamp}}header p{margin:2px 0 16px;color:${INK.ink2}}h2{font-size:17px;margin:22px 0 6px}
table{border-collapse:collapse;width:100%;margin:10px 0}td{padding:4px 10px 4px 0;border-bottom:1px solid ${INK.rule};vertical-align:top;overflow-wrap:anywhere}
td:first-child{width:11em;color:${INK.ink2}}.verdict{border-left:6px solid;padding:8px 14px;background:${INK.sunk}}
.verdict h2{margin:0}.verdict p{margin:4px 0}.act{border-color:${INK.act}}.watch{border-color:${INK.watch}}.fine{border-color:${INK.fine}}
.unknown{border-color:${INK.unknown}}svg{width:100%;height:auto}footer{margin-top:24px;color:${INK.ink2};font-size:13px}
.photos{display:grid;grid-template-columns:repeat(auto-fill,minmax(280px,1fr));gap:12px}figure{margin:0}figure img{width:100%;height:auto}
figcaption{color:${INK.ink2};font-size:13px}
@media print{figure{break-inside:avoid}body,main{background:#fff}section,table,svg{break-inside:avoid}}
`;

function sectionHtml({ title, paragraphs, facts, bullets }: Section): string {
  return [
    `<h2>${escaped(title)}</h2>`,
    ...paragraphs.map((text) => `<p>${escaped(text)}</p>`),
    facts.length === 0 ? '' : table(facts),
    bullets.length === 0 ? '' : `<ul>${bullets.map((text) => `<li>${escaped(text)}</li>`).join('')}</ul>`,
  ]
    .filter(Boolean)
    .join('\n');
}

function photosHtml(photos: readonly ReportPhoto[]): string {
  if (photos.length === 0) return '';
  const figures = photos.map(
    ({ caption, type, octets }) =>
      `<figure><img src="data:${type};base64,${encodeToBase64(octets)}" alt="${escaped(caption)}"><figcaption>${escaped(caption)}</figcaption></figure>`,
  );
  return `<h2>Photos</h2>\n<div class="photos">${figures.join('\n')}</div>`;
}

function table(rows: readonly (readonly string[])[]): string {
  const cells = rows.map((row) => `<tr>${row.map((cell) => `<td>${escaped(cell)}</td>`).join('')}</tr>`);
  return `<table>${cells.join('\n')}</table>`;
}

function svg(model: ReportModel): string {
  const { width, height, shapes } = drawNight(model, 712, 150);
  const name = `Chart of ${model.curves.map((c) => c.label).join(' and ')} over the night`;
  return `<svg viewBox="0 0 ${width} ${height.toFixed(1)}" role="img" aria-label="${escaped(name)}">${shapes.map(shapeSvg).join('')}</svg>`;
}

function shapeSvg(s: Shape): string {
  const n = (x: number) => x.toFixed(1);
  switch (s.kind) {
    case 'line':
      return `<polyline fill="none" stroke="${s.colour}" stroke-width="${s.width}"${s.dashed ? ' stroke-dasharray="4 3"' : ''} points="${s.points.map(([x, y]) => `${n(x)},${n(y)}`).join(' ')}"/>`;
    case 'box':
      return `<rect x="${n(s.x)}" y="${n(s.y)}" width="${n(s.w)}" height="${n(s.h)}" fill="${s.colour}"/>`;
    case 'text':
      return `<text x="${n(s.x)}" y="${n(s.y)}" font-size="${s.size}" font-family="system-ui,sans-serif" fill="${s.colour}" text-anchor="${s.anchor}">${escaped(s.text)}</text>`;
  }
}

export function escaped(text: string): string {
  const names: Readonly<Record<string, string>> = {
    '&': '&amp;',
    '<': '&lt;',
    '>': '&gt;',
    '"': '&quot;',
    "'": '&#39;',
  };
  return text.replace(/[&<>"']/g, (sign) => names[sign]!);
}
