import type { Findings, Flag } from '../messages/findings.ts';

/** What the flags need to know beyond the findings. */
export interface FlagFacts {
  readonly drawLimitA: number;
  readonly drawLimitFrom: 'default' | 'set';
  readonly accuracyStated: { readonly current: boolean; readonly voltage: boolean };
  /** Zero checks of the current meter in this recording. */
  readonly zeroChecks: number;
  readonly surfaceLeftV: number;
  /** Share of the voltage readings that only a charger explains. */
  readonly chargingShare: number;
  readonly chargingA: number | null;
  readonly slowIntervalS: number | null;
}

/** One idea: the flags that it raises, each with its reasons and the next step. */
export type Rule = (f: Omit<Findings, 'flags'>, facts: FlagFacts) => Flag[];
