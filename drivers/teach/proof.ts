import { DriverError } from '../core/errors.ts';
import { FLAG, valueOf, type Reading } from '../core/reading.ts';
import type { MeterDescription } from './description.ts';
import type { Example, Lesson } from './examples.ts';
import { readFrame } from './read.ts';

/** Reads every example back through the description; a sentence for the first that does not come out as shown. */
export function mismatch(lesson: Lesson, description: MeterDescription): string | null {
  for (const [i, example] of lesson.examples.entries()) {
    let reading: Reading | null;
    try {
      reading = readFrame(description, example.frame);
    } catch (error) {
      if (!(error instanceof DriverError)) throw error;
      // A zero without a unit, or over-range without one, may come from a mode that was never shown otherwise.
      if (example.mode < 0) continue;
      return `Glance ${i + 1} does not read back: ${error.message}`;
    }
    if (!agrees(lesson, example, reading)) return `Glance ${i + 1} reads back otherwise than shown.`;
  }
  return null;
}

function agrees(lesson: Lesson, { glance, counts, mode }: Example, reading: Reading | null): boolean {
  if (mode < 0) return reading === null || glance.overload === ((reading.flags & FLAG.overload) !== 0);
  const { unit, lastDigit } = lesson.modes[mode]!;
  if (unit.quantity === null) return reading === null;
  if (reading?.quantity !== unit.quantity || reading.flags !== glance.flags) return false;
  const value = valueOf(reading.counts, reading.scale);
  const digit = 10 ** lastDigit;
  return Math.abs(value - counts * digit) < digit * (1 + 1e-6) + Math.abs(value) * 1e-6;
}
