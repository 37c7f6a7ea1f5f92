/**
 * The 14-octet frame of meter chips that send the segments of their liquid crystal display (layout from a
 * public data sheet of such a chip). The high nibble of octet i is i + 1; the low nibbles, bit 3 first:
 */
export const OCTETS = 14;

/** What each bit of a low nibble says, for the octets that carry signs rather than digits. */
export const SIGNS: Readonly<Record<number, readonly [string, string, string, string]>> = {
  0: ['ac', 'dc', 'auto', 'rs232'],
  9: ['micro', 'nano', 'kilo', 'diode'],
  10: ['milli', 'percent', 'mega', 'beep'],
  11: ['farad', 'ohm', 'relative', 'hold'],
  12: ['ampere', 'volt', 'hertz', 'cellLow'],
  13: ['user4', 'user3', 'user2', 'user1'],
};

/** Octet pairs of the four digits. Bit 3 of the first is the minus sign (digit 1) or the point before the digit. */
export const DIGIT_OCTETS = [1, 3, 5, 7] as const;

/** Segments of a digit: low three bits of the first nibble, then the second nibble. */
export const SEGMENTS: ReadonlyMap<number, string> = new Map([
  [0x7d, '0'],
  [0x05, '1'],
  [0x5b, '2'],
  [0x1f, '3'],
  [0x27, '4'],
  [0x3e, '5'],
  [0x7e, '6'],
  [0x15, '7'],
  [0x7f, '8'],
  [0x3f, '9'],
  [0x68, 'L'],
  [0x00, ' '],
]);

export const PREFIX_EXPONENT: Readonly<Record<string, number>> = {
  nano: -9,
  micro: -6,
  milli: -3,
  kilo: 3,
  mega: 6,
};
export const QUANTITIES = ['farad', 'ohm', 'ampere', 'volt', 'hertz', 'percent', 'diode'] as const;
