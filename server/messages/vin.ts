/**
 * The VIN check digit of 49 CFR 565.15(c). ISO 3779 itself does not ask for one, so a difference is a note
 * about a car from outside North America, not an error.
 */
export interface VinNote {
  readonly isVin: boolean;
  readonly checkDigit: 'agrees' | 'differs' | 'not-applicable';
  readonly sentence: string;
}

const WEIGHTS = [8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2];
const LETTERS: Readonly<Record<string, number>> = Object.fromEntries([
  ...[...'ABCDEFGH'].map((c, i) => [c, i + 1] as const),
  ...[...'JKLMN'].map((c, i) => [c, i + 1] as const),
  ['P', 7] as const,
  ['R', 9] as const,
  ...[...'STUVWXYZ'].map((c, i) => [c, i + 2] as const),
]);

/** What can be said about a text that may be a VIN; spaces, hyphens and lower case are forgiven. */
export function vinNote(text: string): VinNote {
  const vin = text.replace(/[\s-]/g, '').toUpperCase();
  if (vin.length === 17 && /[IOQ]/.test(vin) && /^[A-Z0-9]+$/.test(vin))
    return notVin('A VIN has no letter I, O or Q; they are easily misread for 1 and 0.');
  if (!/^[A-HJ-NPR-Z0-9]{17}$/.test(vin)) return notVin('Not a 17-character VIN.');
  const expected = vinCheckDigit(vin);
  if (vin[8] === expected)
    return { isVin: true, checkDigit: 'agrees', sentence: 'VIN, its check digit agrees.' };
  return {
    isVin: true,
    checkDigit: 'differs',
    sentence: `VIN; position 9 is ${vin[8]}, the North American check digit would be ${expected}. Cars from elsewhere need not have one.`,
  };
}

/** Position 9 as the rule computes it: weighted sum modulo 11, with X for ten. Expects 17 allowed characters. */
export function vinCheckDigit(vin: string): string {
  const rest = vinSum(vin) % 11;
  return rest === 10 ? 'X' : String(rest);
}

/** The weighted sum before the remainder is taken. */
export function vinSum(vin: string): number {
  let sum = 0;
  for (let i = 0; i < 17; i++) sum += WEIGHTS[i]! * (LETTERS[vin[i]!] ?? Number(vin[i]));
  return sum;
}

function notVin(sentence: string): VinNote {
  return { isVin: false, checkDigit: 'not-applicable', sentence };
}
