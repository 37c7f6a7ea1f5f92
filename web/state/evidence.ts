import type { SealState } from '../../server/messages/seal.ts';
import { queryText } from './api.ts';
import { dateText } from './clocktime.ts';

export type Reader = 'workshop' | 'customer';
export type Paper = 'a4' | 'letter';
/** What a bundle is made without. */
export type BundleLess = '' | 'identity' | 'photos' | 'identity,photos';

export function reportPath(id: string, format: 'pdf' | 'html' | 'csv', reader: Reader, paper: Paper): string {
  return `/api/recordings/${id}/report.${format}${queryText({ for: reader, paper: format === 'pdf' ? paper : null })}`;
}

export function bundlePath(id: string, without: BundleLess): string {
  return `/api/recordings/${id}/bundle.zip${queryText({ without })}`;
}

/** What the seals of a recording say, a line each, in the recording's own zone. */
export function sealLines({ heads, lastHeadAt, faults, bundles }: SealState, zone: string | null): string[] {
  const steps = `${heads} ${heads === 1 ? 'step' : 'steps'}`;
  const sealed =
    heads === 0 || lastHeadAt === null
      ? 'Nothing was sealed while it was recorded.'
      : `Sealed while it was recorded in ${steps}, last ${dateText({ startedAt: lastHeadAt, zone })}.${
          faults.length === 0 ? ' It is still what was sealed.' : ''
        }`;
  const made = bundles.map(
    (b) =>
      `Bundle of ${dateText({ startedAt: b.at, zone })}${b.without.length === 0 ? '' : `, without ${b.without.join(' and ')}`}: SHA-256 ${b.sha256}`,
  );
  return [sealed, ...made];
}
