/**
 * Time Exponential 8 of the GATT Specification Supplement: one octet N is 1.1^(N-64) seconds; 0 is 0 s,
 * 0xFE the life of the device, 0xFF not known.
 */
export type TimeExponential = { readonly seconds: number } | 'life-of-device' | 'not-known';

export function decodeTimeExponential(octet: number): TimeExponential {
  if (octet === 0xff) return 'not-known';
  if (octet === 0xfe) return 'life-of-device';
  return { seconds: octet === 0 ? 0 : 1.1 ** (octet - 64) };
}

/** The nearest code for a time; seconds below the smallest step give 0. @throws RangeError above the largest */
export function encodeTimeExponential(time: TimeExponential): number {
  if (time === 'not-known') return 0xff;
  if (time === 'life-of-device') return 0xfe;
  if (time.seconds <= 0) return 0;
  const code = Math.round(Math.log(time.seconds) / Math.log(1.1)) + 64;
  if (code > 0xfd) throw new RangeError(`${time.seconds} s is beyond this format`);
  return Math.max(0, code);
}
