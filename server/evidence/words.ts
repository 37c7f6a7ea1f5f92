import { durationText } from '../messages/figures.ts';
import type { Difference } from './verify.ts';

const WHAT: Readonly<Record<Difference['what'], string>> = {
  changed: 'is not as it was sealed',
  missing: 'is missing',
  'not-sealed': 'was not sealed',
  'not-valid': 'cannot be read',
};

/** Which file, block and time range differ, as a sentence. */
export function differenceText({ file, what, block, fromS, toS }: Difference): string {
  const place =
    block === null
      ? ''
      : `, block ${block}, ${durationText(fromS!)} to ${durationText(toS!)} after the start,`;
  return `${file}${place} ${WHAT[what]}.`;
}
