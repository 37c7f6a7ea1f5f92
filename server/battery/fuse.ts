import { figure, typeB } from '../analysis/accuracy.ts';
import type { Estimate } from '../messages/findings.ts';
import type { FUSE_KINDS } from '../messages/fuses.ts';

export type FuseKind = (typeof FUSE_KINDS)[number];

interface FuseFigure {
  readonly rating: number;
  readonly milliohm: number;
  /** How far a good fuse may lie off, as a share, at any usual temperature. */
  readonly tolerance: number;
  readonly source: string;
}

/**
 * A blade's cold resistance spreads by 6 % from piece to piece (published samples) and by 8 % over 20 degrees;
 * 10 % where two sources agree, 15 % where one figure stands alone (from memory).
 */
const AGREED = 0.1;
const ALONE = 0.15;

const memory = (rating: number, milliohm: number): FuseFigure => ({
  rating,
  milliohm,
  tolerance: ALONE,
  source: 'cold resistance from memory of one data sheet',
});

/** The value tables of ISO 8820-3 are not public; these are cold resistances as data sheets print them. */
const TABLE: Readonly<Record<FuseKind, readonly FuseFigure[]>> = {
  standard: [
    memory(1, 123),
    memory(2, 53.5),
    memory(3, 31.1),
    memory(4, 22.8),
    memory(5, 17.85),
    memory(7.5, 10.91),
    { rating: 10, milliohm: 7.7, tolerance: AGREED, source: 'published chart: 1 mV is 130 mA' },
    {
      rating: 15,
      milliohm: 4.8,
      tolerance: AGREED,
      source: 'published data sheet; a sample measured 4.5 mohm at 20 degC',
    },
    memory(20, 3.38),
    memory(25, 2.52),
    memory(30, 1.97),
  ],
  mini: [{ rating: 15, milliohm: 4.59, tolerance: AGREED, source: 'published chart: 1 mV is 218 mA' }],
};

export function fuseRatings(kind: FuseKind): readonly number[] {
  return TABLE[kind].map((f) => f.rating);
}

export interface FuseCurrent {
  readonly currentA: NonNullable<Estimate>;
  readonly source: string;
}

/**
 * The current through a fuse from the millivolts across it. `digitMv` is the last digit of the meter: the reading
 * may be off by one. Null where no figure for such a fuse is known.
 */
export function fuseCurrent(
  kind: FuseKind,
  rating: number,
  millivolts: number,
  digitMv: number,
): FuseCurrent | null {
  const fuse = TABLE[kind].find((f) => f.rating === rating);
  if (fuse === undefined) return null;
  const amps = millivolts / fuse.milliohm;
  const oneDigit = typeB(digitMv / fuse.milliohm);
  const currentA = figure(amps, oneDigit, typeB(Math.abs(amps) * fuse.tolerance));
  if (currentA === null) return null;
  return {
    currentA,
    source: `${kind} blade fuse ${rating} A, ${fuse.milliohm} mohm ± ${Math.round(100 * fuse.tolerance)} %: ${fuse.source}`,
  };
}
