import { readFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import type { Page } from 'playwright-core';

const AXE = readFileSync(createRequire(import.meta.url).resolve('axe-core/axe.min.js'), 'utf8');
/** Marks may lie on one another: each has a row in the tables below it that leads to the same place (2.5.8, Equivalent). */
const RULES = `axe.run(document, { runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa'] })
  .then((r) => r.violations.flatMap((v) => {
    const nodes = v.nodes.map((n) => n.target.join(' '))
      .filter((n) => v.id !== 'target-size' || document.querySelector(n).closest('.lanes') === null);
    return nodes.length === 0 ? [] : [v.id + ': ' + nodes.join(', ')];
  }))`;

/** What axe objects to on the page as it is now, WCAG 2.2 A and AA. */
export async function axeObjections(page: Page): Promise<string[]> {
  // Through the debugger: the content security policy keeps every other script out.
  await page.evaluate(AXE);
  return page.evaluate<string[]>(RULES);
}
