import type { Threshold } from '../messages/attempts.ts';
import { chanceOfOrder, highestRate, lowestRate } from './exact.ts';
import { fitLogistic, profileInterval, type LogisticFit, type Try } from './logistic.ts';

export type { Try } from './logistic.ts';

/** The tries must be so unlikely by chance alone before a figure is given. */
const CHANCE_LIMIT = 0.05;

/**
 * The voltage at which this car's passive entry answers half of the tries. Where a voltage separates failures from
 * successes the likelihood has no maximum; then the bracket between them is all that the tries carry, and the
 * interval comes from the likelihood's profile over the threshold, which separation does not harm. Total: it never throws.
 */
export function estimateThreshold(tries: readonly Try[]): Threshold {
  const worked = tries.filter((t) => t.worked).map((t) => t.voltageV);
  const failed = tries.filter((t) => !t.worked).map((t) => t.voltageV);
  const bracketV = bracketOf(worked, failed);
  const counts = { bracketV, tries: tries.length, worked: worked.length };
  const nothing = {
    method: 'none',
    thresholdV: null,
    intercept: null,
    slope: null,
    intervalV: null,
  } as const;
  if (worked.length === 0 || failed.length === 0)
    return { ...nothing, ...counts, chance: null, says: oneSided(worked, failed) };
  const chance = chanceOfOrder(tries);
  const fit = fitLogistic(tries);
  if (fit === null && !(Math.max(...failed) <= Math.min(...worked)))
    return { ...nothing, ...counts, chance, says: [...REVERSED] };
  if (fit === null && new Set([...worked, ...failed]).size === 1)
    return { ...nothing, ...counts, chance: null, says: oneVoltage(worked, failed) };

  const best = bestOf(tries, fit, worked, failed);
  const intervalV = profileInterval(tries, best.v, best.logLikelihood);
  const ordered = fit !== null && fit.slope < 0 ? true : chance === null || chance <= CHANCE_LIMIT;
  const middle = fit === null ? (best.v[0] + best.v[1]) / 2 : best.v[0];
  const reach = intervalV === null ? Infinity : Math.max(middle - intervalV[0], intervalV[1] - middle);
  // An interval far wider than what was tried is a guess about voltages that nobody tried.
  const given = ordered && reach <= 2 * spanOf([...worked, ...failed]);
  const thresholdV = given ? { value: middle, expandedUncertainty: reach } : null;
  const result = {
    method: fit === null ? ('bracket' as const) : ('logistic' as const),
    thresholdV,
    intercept: fit?.intercept ?? null,
    slope: fit?.slope ?? null,
    intervalV: thresholdV === null ? null : intervalV,
    ...counts,
    chance,
  };
  const meetV = fit === null && best.v[0] === best.v[1] ? best.v[0] : null;
  return { ...result, says: words(result, meetV) };
}

/** Up to the first every try failed, from the second on every try worked. */
function bracketOf(worked: readonly number[], failed: readonly number[]): [number | null, number | null] {
  const lowestWorked = Math.min(...worked);
  const highestFailed = Math.max(...failed);
  const below = failed.filter((v) => v < lowestWorked);
  const above = worked.filter((v) => v > highestFailed);
  return [below.length === 0 ? null : Math.max(...below), above.length === 0 ? null : Math.min(...above)];
}

function spanOf(v: readonly number[]): number {
  return Math.max(...v) - Math.min(...v);
}

interface Best {
  /** One threshold, or the ends of all that fit equally well. */
  readonly v: readonly [number, number];
  readonly logLikelihood: number;
}

function bestOf(
  tries: readonly Try[],
  fit: LogisticFit | null,
  worked: readonly number[],
  failed: readonly number[],
): Best {
  if (fit !== null) {
    const v = -fit.intercept / fit.slope;
    return { v: [v, v], logLikelihood: fit.logLikelihood };
  }
  const [low, high] = [Math.max(...failed), Math.min(...worked)];
  // Where both outcomes meet at one voltage, the steepest curve still leaves chance to the tries made there.
  const there = tries.filter((t) => low === high && t.voltageV === low);
  const n = there.length;
  const k = there.filter((t) => t.worked).length;
  const part = (m: number): number => (m === 0 ? 0 : m * Math.log(m / n));
  return { v: [low, high], logLikelihood: part(k) + part(n - k) };
}

const volts = (v: number): string => `${v.toFixed(2)} V`;
const percent = (p: number): string => `${Math.floor(100 * p)} %`;

/** Rounded outwards, so that what is printed is still true of the limits. */
const outward = ([low, high]: readonly [number, number]): string =>
  `${(Math.floor(low * 100 + 1e-6) / 100).toFixed(2)} V and ${(Math.ceil(high * 100 - 1e-6) / 100).toFixed(2)} V`;

function oneSided(worked: readonly number[], failed: readonly number[]): string[] {
  const n = worked.length + failed.length;
  if (n === 0) return ['No try is marked yet. Mark tries at several voltages, some of them failing.'];
  const never = worked.length === 0;
  const v = never ? Math.max(...failed) : Math.min(...worked);
  if (n === 1)
    return [
      `One try, at ${volts(v)}, ${never ? 'failed' : 'worked'}. One try proves nothing about a threshold.`,
      never ? 'Try again with the battery supported by a charger.' : LOWER,
    ];
  return never
    ? [
        `All ${n} tries failed, up to ${volts(v)}. If voltage is the reason, the threshold lies higher.`,
        `At those voltages it works at most ${percent(highestRate(0, n) + 0.01)} of the time (95 % confidence, exact).`,
        'Nothing here shows that voltage is the reason: try with the battery supported by a charger.',
      ]
    : [
        `All ${n} tries worked, down to ${volts(v)}. The threshold, if there is one, lies lower.`,
        `At those voltages it works at least ${percent(lowestRate(n, n))} of the time (95 % confidence, exact).`,
        LOWER,
      ];
}

const LOWER = 'Load the battery with the headlamps and try again at a lower voltage.';

const REVERSED = [
  'It failed more at the higher voltages and worked more at the lower ones: these tries do not show that a low battery is the reason.',
  'Look for something else that changed between the tries: where the fob was, radio noise, the handle itself.',
] as const;

function oneVoltage(worked: readonly number[], failed: readonly number[]): string[] {
  const [k, n] = [worked.length, worked.length + failed.length];
  return [
    `${k} of ${n} tries worked, all at ${volts(worked[0]!)}: between ${percent(lowestRate(k, n, 0.025))} and ${percent(highestRate(k, n, 0.025) + 0.01)} of the time (95 % confidence, exact).`,
    'Tries at one voltage cannot show what voltage does. Try at a higher and a lower one.',
  ];
}

/** `meetV`: the one voltage at which both happened, where a voltage otherwise separates them. */
function words(t: Omit<Threshold, 'says'>, meetV: number | null): string[] {
  if (t.slope !== null && t.slope <= 0) return [...REVERSED];
  const out: string[] = [];
  const [low, high] = t.bracketV;
  const below = low === null ? '' : ` Every try failed up to ${volts(low)}.`;
  const above = high === null ? '' : ` Every try worked from ${volts(high)} on.`;
  const between = t.method === 'bracket' && meetV === null ? ' Nothing was tried in between.' : '';
  const meet = meetV === null ? '' : ` At ${volts(meetV)} both happened.`;
  out.push(`${t.worked} of ${t.tries} tries worked.${below}${above}${between}${meet}`);
  if (t.thresholdV === null || t.intervalV === null) {
    out.push(
      t.chance === null
        ? 'That is too little for a figure: how it went does not follow the voltage clearly enough.'
        : `That is too little for a figure: if the voltage did not matter, tries would fall so neatly by chance ${oftenText(t.chance)}.`,
      'Make more tries, at voltages near and on both sides of where it begins to fail.',
    );
    return out;
  }
  out.push(
    `This car's threshold is ${t.method === 'bracket' ? 'about ' : ''}${volts(t.thresholdV.value)}, between ${outward(t.intervalV)} (95 %).`,
  );
  if (t.chance !== null)
    out.push(`If the voltage did not matter, tries would fall so neatly by chance ${oftenText(t.chance)}.`);
  out.push(
    'It holds for this car, this fob and this day: cold, an aged fob cell or another place of the fob can move it.',
  );
  return out;
}

function oftenText(chance: number): string {
  const once = 1 / chance;
  if (once < 1.5) return 'nearly every time';
  return `once in ${once < 10 ? once.toFixed(1).replace(/\.0$/, '') : Math.round(once)}`;
}
