/**
 * The 14-octet frame of meter chips that send their digits as ASCII (layout from public data sheets; the
 * point codes in use are 0, 1, 2, 4, where the sheets print 0 to 3).
 */
export const OCTETS = 14;

/** Digits after the point for each point code. */
export const POINT_CODES: ReadonlyMap<string, number> = new Map([
  ['0', 0],
  ['1', 3],
  ['2', 2],
  ['4', 1],
]);

/** Names of the bits 7..0 of the four flag octets; null is unused. */
export const FLAG_OCTETS: Readonly<Record<number, readonly (string | null)[]>> = {
  7: [null, null, 'auto', 'dc', 'ac', 'relative', 'hold', 'bar'],
  8: [null, null, 'max', 'min', 'autoPowerOff', 'cellLow', 'nano', null],
  9: ['micro', 'milli', 'kilo', 'mega', 'beep', 'diode', 'percent', null],
  10: ['volt', 'ampere', 'ohm', 'gain', 'hertz', 'farad', 'celsius', 'fahrenheit'],
};

export const OVER_RANGE = '?0:?';
export const PREFIX_EXPONENT: Readonly<Record<string, number>> = {
  nano: -9,
  micro: -6,
  milli: -3,
  kilo: 3,
  mega: 6,
};
export const QUANTITIES = [
  'volt',
  'ampere',
  'ohm',
  'gain',
  'hertz',
  'farad',
  'celsius',
  'fahrenheit',
] as const;
