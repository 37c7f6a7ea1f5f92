import { FLAG } from '../core/reading.ts';
import { lastDigit, parseDisplay, unitText, type Glance, type ShownUnit } from './display.ts';

/** What the display was set to when a figure was read: quantity, prefix, decimal point, alternating or not. */
export interface ShownMode {
  readonly unit: ShownUnit;
  readonly decimals: number;
  readonly ac: boolean;
  /** Power of ten of the last digit shown, without prefix. */
  readonly lastDigit: number;
}

/** A frame and what the display read at that moment. */
export interface Example {
  readonly frame: Uint8Array;
  readonly glance: Glance;
  /** The figure without its point, negative where the display said so. */
  readonly counts: number;
  /** Index into `modes`; -1 for over-range, and for a zero without a unit. */
  readonly mode: number;
}

export interface Lesson {
  readonly length: number;
  readonly examples: readonly Example[];
  /** Those with a figure. */
  readonly figures: readonly Example[];
  readonly overloads: readonly Example[];
  readonly modes: readonly ShownMode[];
  /** Most digits that the display showed at once. */
  readonly digits: number;
}

/** @returns the lesson, or sentences that say what is wrong with it */
export function prepare(
  raw: readonly { readonly frame: Uint8Array; readonly display: string }[],
): Lesson | string[] {
  const wrong: string[] = [];
  const glances = raw.map(({ display }, i) => {
    const glance = parseDisplay(display);
    if (typeof glance === 'string') wrong.push(`Glance ${i + 1}: ${glance}`);
    return glance;
  });
  const length = raw[0]?.frame.length ?? 0;
  raw.forEach(({ frame }, i) => {
    if (frame.length === 0 || frame.length !== length) {
      wrong.push(`Glance ${i + 1}: the frame has ${frame.length} octets, the first has ${length}.`);
    }
  });
  if (wrong.length > 0) return wrong;

  const units = new Map(
    (glances as Glance[]).flatMap((g) =>
      g.unit && !g.overload ? [[unitText(g.unit), g.unit] as const] : [],
    ),
  );
  const only = units.size === 1 ? [...units.values()][0]! : null;
  const modes: ShownMode[] = [];
  const examples = (glances as Glance[]).map((typed, i): Example => {
    // A figure without a unit takes the only unit that was ever typed.
    const glance = typed.unit || !only ? typed : { ...typed, unit: only };
    if (!glance.unit && !glance.overload && glance.counts !== 0) {
      wrong.push(`Glance ${i + 1}: type the unit too, for example 12.63 V.`);
    }
    const frame = raw[i]!.frame;
    const counts = glance.negative && glance.counts !== 0 ? -glance.counts : glance.counts;
    return { frame, glance, counts, mode: modeIndex(modes, glance) };
  });
  if (modes.length === 0 && wrong.length === 0) wrong.push('No glance has a figure with a unit yet.');
  if (wrong.length > 0) return wrong;
  const figures = examples.filter((e) => !e.glance.overload);
  return {
    length,
    examples,
    figures,
    overloads: examples.filter((e) => e.glance.overload),
    modes,
    digits: Math.max(...figures.map((e) => e.glance.digits)),
  };
}

function modeIndex(modes: ShownMode[], glance: Glance): number {
  const { unit, decimals } = glance;
  if (glance.overload || !unit) return -1;
  const ac = (glance.flags & FLAG.ac) !== 0;
  const known = modes.findIndex(
    (m) =>
      m.unit.symbol === unit.symbol &&
      m.unit.prefix === unit.prefix &&
      m.decimals === decimals &&
      m.ac === ac,
  );
  if (known >= 0) return known;
  modes.push({ unit, decimals, ac, lastDigit: lastDigit(glance) });
  return modes.length - 1;
}

/** "12.63 V", "-0.025 A", for sentences. */
export function figureText(value: number, mode: ShownMode): string {
  return `${(value * 10 ** -mode.unit.prefix).toFixed(mode.decimals)} ${unitText(mode.unit)}`;
}
