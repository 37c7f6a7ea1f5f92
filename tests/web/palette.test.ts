import { readFileSync } from 'node:fs';
import { describe, expect, it } from 'vitest';
import { contrast, difference, over, VIEW_NAMES } from './colour.ts';

const css = readFileSync(new URL('../../web/styles/palette.css', import.meta.url), 'utf8');

function paletteOf(selector: string): Record<string, string> {
  const block = css.slice(css.indexOf(`${selector} {`));
  const body = block.slice(0, block.indexOf('}'));
  return Object.fromEntries([...body.matchAll(/--([\w-]+): (#[0-9a-f]{6});/g)].map((m) => [m[1]!, m[2]!]));
}

const themes = { dark: paletteOf(':root'), light: paletteOf(":root[data-theme='light']") };

it('computes the ratios that the recommendation itself names', () => {
  // WCAG 2.2, "contrast ratio": black on white is 21:1; #767676 on white is the known 4.54:1.
  expect(contrast('#000000', '#ffffff')).toBeCloseTo(21, 5);
  expect(contrast('#767676', '#ffffff')).toBeCloseTo(4.54, 2);
});

it('gives both themes the same colours to fill', () => {
  expect(Object.keys(themes.light).sort()).toEqual(Object.keys(themes.dark).sort());
  expect(Object.keys(themes.dark).length).toBeGreaterThan(20);
});

describe.each(Object.entries(themes))('the %s theme', (_name, c) => {
  const grounds = ['ground', 'raised'] as const;
  // Text of the page (WCAG 2.2 AA, 1.4.3: 4.5:1).
  const texts = [
    'ink',
    'ink-2',
    'link',
    'volt',
    'amp',
    'act',
    'watch',
    'info',
    'fine',
    'poll',
    'log',
  ] as const;
  it.each(texts)('%s is readable as text on ground and raised', (name) => {
    for (const g of grounds) expect(contrast(c[name]!, c[g]!), `on ${g}`).toBeGreaterThanOrEqual(4.5);
  });

  it('buttons and the pressed choice are readable', () => {
    expect(contrast(c['on-lamp']!, c['lamp']!)).toBeGreaterThanOrEqual(4.5);
    expect(contrast(c['ground']!, c['ink']!)).toBeGreaterThanOrEqual(4.5);
  });

  // Marks, edges of controls and the focus ring (WCAG 2.2 AA, 1.4.11 and 2.4.13: 3:1).
  const shapes = ['edge', 'lamp', 'focus', 'sleep', 'wake', 'poll', 'log', 'ink'] as const;
  it.each(shapes)('%s stands out from what it lies on', (name) => {
    for (const g of ['ground', 'raised', 'sunk'] as const)
      expect(contrast(c[name]!, c[g]!), `on ${g}`).toBeGreaterThanOrEqual(3);
  });

  it('labels on marks are readable', () => {
    for (const mark of ['sleep', 'poll', 'wake', 'log', 'ink'] as const)
      expect(contrast(c['ground']!, c[mark]!), mark).toBeGreaterThanOrEqual(4.5);
  });

  it('the label of the unreliable zone is readable on the zone itself', () => {
    expect(contrast(c['act']!, over(c['act']!, c['ground']!, 0.13))).toBeGreaterThanOrEqual(4.5);
  });

  it('curves stay visible inside the shaded zone', () => {
    const zone = over(c['act']!, c['ground']!, 0.13);
    expect(contrast(c['volt']!, zone)).toBeGreaterThanOrEqual(3);
  });

  // Two curves and two neighbouring marks must differ for every eye; 20 is many times what can just be seen.
  it.each(VIEW_NAMES)('voltage and current differ for %s vision', (view) => {
    expect(difference(c['volt']!, c['amp']!, view)).toBeGreaterThan(20);
  });
  it.each(VIEW_NAMES)('the parts of the draw differ for %s vision', (view) => {
    expect(difference(c['sleep']!, c['poll']!, view)).toBeGreaterThan(20);
    expect(difference(c['poll']!, c['wake']!, view)).toBeGreaterThan(20);
    expect(difference(c['sleep']!, c['wake']!, view)).toBeGreaterThan(20);
  });
});
