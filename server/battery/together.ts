import type { Findings } from '../messages/findings.ts';

/** How near two recordings' possible periods must be: each is known through its own sampling interval. */
const SAME_PERIOD = 1e-3;

/**
 * Findings whose candidate periods are narrowed to those that a second recording of the same car, sampled at
 * another rate, allows too. Unchanged where nothing is open, where the other saw no polling, or where no period
 * fits both: then the car searched at another pace that time.
 */
export function narrowedBy(findings: Findings, other: Findings): Findings {
  const open = findings.polling.candidatePeriodsS;
  const allowed = periodsOf(other);
  const both = open.filter((p) => allowed.some((q) => Math.abs(p / q - 1) <= SAME_PERIOD));
  if (both.length === 0) return findings;
  return { ...findings, polling: { ...findings.polling, candidatePeriodsS: both } };
}

/** Every period that a recording allows: those it measured, and those it could not tell apart. */
function periodsOf({ polling }: Findings): number[] {
  const measured = polling.regimes.flatMap((r) => (r.periodS === null ? [] : [r.periodS.value]));
  return [...measured, ...polling.candidatePeriodsS];
}
