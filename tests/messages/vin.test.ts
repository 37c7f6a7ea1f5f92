import { describe, expect, it } from 'vitest';
import { vinCheckDigit, vinNote, vinSum } from '../../server/messages/vin.ts';

describe('VIN check digit, 49 CFR 565.15(c)', () => {
  // Published examples with their sums, and the all-ones check.
  it.each([
    ['1M8GDM9AXKP042788', 351, 'X'],
    ['1G4AH59H45G118341', 411, '4'],
    ['1J9RP1A36A1644345', 314, '6'],
    ['11111111111111111', 89, '1'],
  ])('%s', (vin, sum, digit) => {
    expect(vinSum(vin)).toBe(sum);
    expect(vinCheckDigit(vin)).toBe(digit);
    expect(vinNote(vin)).toMatchObject({ isVin: true, checkDigit: 'agrees' });
  });

  it('notes a difference without calling it an error', () => {
    const note = vinNote('1M8GDM9A1KP042788');
    expect(note).toMatchObject({ isVin: true, checkDigit: 'differs' });
    expect(note.sentence).toContain('X');
  });

  it('forgives spaces and lower case, and leaves plates alone', () => {
    expect(vinNote(' 1m8gdm9axkp-042788 ').checkDigit).toBe('agrees');
    expect(vinNote('AB12 CDE')).toMatchObject({ isVin: false, checkDigit: 'not-applicable' });
    expect(vinNote('1M8GDM9AXKP04278O').sentence).toContain('I, O or Q');
    expect(vinNote('')).toMatchObject({ isVin: false });
  });
});
