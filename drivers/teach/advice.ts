import { FLAG } from '../core/reading.ts';
import { bytesOf } from './bits.ts';
import type { MeterDescription } from './description.ts';
import { unitText } from './display.ts';
import type { Lesson } from './examples.ts';
import { bitsOf } from './value.ts';

/** What a learned description does not know because it was never shown, and the glance that would add most. */
export function widerGlance(
  lesson: Lesson,
  description: MeterDescription,
  unruly: readonly number[],
): { readonly next: string | null; readonly sentences: readonly string[] } {
  const open: { sentence: string; next: string }[] = [];
  const kept = bitsOf(description.value).some(({ at, mask }) =>
    description.fixed.bits.some(
      (f, i) => f.at === at && f.mask & mask && bytesOf(description.fixed.is)[i] !== undefined,
    ),
  );
  const largest = lesson.figures.reduce((a, b) =>
    Math.abs(b.counts) * 10 ** lastOf(lesson, b.mode) > Math.abs(a.counts) * 10 ** lastOf(lesson, a.mode)
      ? b
      : a,
  );
  if (kept) {
    const mode = lesson.modes[Math.max(0, largest.mode)]!;
    const figure = (Math.abs(largest.counts) * 10 ** -mode.decimals).toFixed(mode.decimals);
    open.push({
      sentence: 'Figures far from those shown are refused until one of them is taught.',
      next: `a figure well above ${figure} ${unitText(mode.unit)}`,
    });
  }
  const beside = description.fixed.bits
    .map(({ at }) => at)
    .filter((at) => !unruly.includes(at) && (unruly.includes(at - 1) || unruly.includes(at + 1)));
  if (beside.length > 0) {
    open.push({
      sentence: `Octet ${beside.join(', ')} stood still beside octets that change by themselves. If it is the slow digit of a counter, frames will be refused once it turns.`,
      next: 'the display again some minutes later',
    });
  }
  if (!lesson.figures.some((e) => e.counts < 0)) {
    open.push({
      sentence: 'No negative figure was shown; one may be refused.',
      next: 'a negative figure, if the meter can show one',
    });
  }
  if (lesson.overloads.length === 0) {
    open.push({
      sentence: 'Over-range was not shown; it will be refused rather than recorded as over-range.',
      next: 'over-range, if the meter can show it safely',
    });
  }
  if (!lesson.figures.some((e) => e.glance.flags & FLAG.hold)) {
    open.push({
      sentence: 'HOLD was not shown; a frame with a bit that never changed in the teaching is refused.',
      next: 'a figure with HOLD, if the meter has it',
    });
  }
  return { next: open[0]?.next ?? null, sentences: open.map((o) => o.sentence) };
}

function lastOf(lesson: Lesson, mode: number): number {
  return lesson.modes[mode]?.lastDigit ?? 0;
}
