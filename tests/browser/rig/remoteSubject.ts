import type { Page } from 'playwright-core';
import { METER } from '../../contract/linkMeters.ts';
import type { Connected, LinkSubject, Outcome } from '../../contract/linkSubject.ts';
import type { LinkBench } from '../pages/linkPage.ts';

/** The link of a page as a subject of the link contract: each question is carried to the page. */
export function remoteSubject(page: Page): LinkSubject {
  const ask = (question: keyof LinkSubject, args: readonly unknown[]): Promise<unknown> =>
    page.evaluate(
      ([name, given]) => {
        const { subject } = (window as unknown as { bench: LinkBench }).bench;
        return (subject[name] as (...args: unknown[]) => Promise<unknown>)(...given);
      },
      [question, args] as const,
    );
  const own: Partial<LinkSubject> = {
    async startFind(services) {
      await page.evaluate((s) => (window as unknown as { bench: LinkBench }).bench.armFind(s), services);
      await page.click('button');
    },
    async connect(...args) {
      const opened = (await ask('connect', args)) as Outcome<Connected>;
      return 'error' in opened ? opened : { value: inMeterOrder(opened.value) };
    },
  };
  return new Proxy(own as LinkSubject, {
    get:
      (_, question: keyof LinkSubject) =>
      (...args: unknown[]) =>
        (own[question] as ((...args: unknown[]) => unknown) | undefined)?.(...args) ?? ask(question, args),
  });
}

/** A browser does not tell the order of a meter's services; the contract names them in the meter's own. */
function inMeterOrder(connected: Connected): Connected {
  const services = METER.characteristics.map((c) => c.service);
  const characteristics = [...connected.characteristics].sort(
    (a, b) => services.indexOf(a.service) - services.indexOf(b.service),
  );
  return { ...connected, characteristics };
}
