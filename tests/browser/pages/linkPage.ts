import { pageClock } from '../../../drivers/links/browser/clock.ts';
import { createBrowserLink } from '../../../drivers/links/browser/link.ts';
import { browserBluetooth } from '../../../drivers/links/browser/support.ts';
import type { Link } from '../../../drivers/core/link.ts';
import { FIRST_ANALOG } from '../../contract/linkMeters.ts';
import { subjectOf, type LinkSubject } from '../../contract/linkSubject.ts';

/** A page that offers its browser link to the test process. */

const real = createBrowserLink({ operationTimeoutMs: 1500 });
// Web Bluetooth shows only services that the page has named.
const link: Link = {
  ...real,
  find: (options) => real.find({ ...options, alsoUse: [FIRST_ANALOG.service] }),
};
const subject = subjectOf(link, pageClock);
let services: readonly string[] = [];

const bench = {
  subject,
  /** The chooser needs a person's gesture: it opens with the next click on the button. */
  armFind(wanted: readonly string[]): void {
    services = wanted;
  },
  support: browserBluetooth(),
};
export type LinkBench = { readonly subject: LinkSubject } & Omit<typeof bench, 'subject'>;

(window as unknown as { bench: LinkBench }).bench = bench;
const button = document.createElement('button');
button.textContent = 'Find a meter';
button.addEventListener('click', () => void subject.startFind(services));
document.body.append(button);
