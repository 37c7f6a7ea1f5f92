import { durationText } from '../messages/figures.ts';
import type { Warning, WarningCode, WatchSettings } from '../messages/watch.ts';

/** What is so at one moment; times in milliseconds from the recording's start. */
export interface WatchFacts {
  readonly nowMs: number;
  /** The highest voltage reading of the last half minute; null where there was none. */
  readonly highestV: number | null;
  readonly meters: readonly { readonly key: string; readonly name: string; readonly lastMs: number }[];
  /** Null: not known. */
  readonly asleep: boolean | null;
  readonly diskFreeMb: number | null;
}

/** A warning that comes and goes is not told more often. */
export const REPEAT_AFTER_MS = 30 * 60_000;
/** The voltage must come so far back above the floor, the disk by so much of its limit, to count as right again. */
const BACK_V = 0.1;
const BACK_DISK = 1.2;

const LOW = 'The battery is at ';
const QUIET = ' has been quiet for ';
const AWAKE = 'The car is still awake after ';
const DISK = 'The disk has ';

/** The code of a warning in a recording's log, and of a quiet meter its name; null for other texts. */
export function warningOfText(text: string): { readonly code: WarningCode; readonly name: string } | null {
  const quiet = text.indexOf(QUIET);
  if (quiet > 0) return { code: 'meter-quiet', name: text.slice(0, quiet) };
  if (text.startsWith(LOW)) return { code: 'battery-low', name: '' };
  if (text.startsWith(AWAKE)) return { code: 'still-awake', name: '' };
  return text.startsWith(DISK) ? { code: 'disk-low', name: '' } : null;
}

/** Decides when an overnight test warns: once for each thing that goes wrong, and again only after it was right. */
export class WarningDesk {
  private readonly holding = new Map<string, Warning>();
  private readonly toldMs = new Map<string, number>();

  constructor(private readonly settings: WatchSettings) {}

  /** Those that hold now, oldest first. */
  get warnings(): readonly Warning[] {
    return [...this.holding.values()];
  }

  /** What was told before a restart of the server is not told again. */
  remember(code: WarningCode, subject: string, atMs: number): void {
    this.toldMs.set(`${code} ${subject}`, atMs);
  }

  /** @returns the warnings to tell now */
  look(facts: WatchFacts): readonly Warning[] {
    const told: Warning[] = [];
    const { floorV, quietS, awakeAfterS, diskFreeMb } = this.settings;
    const check = (code: WarningCode, subject: string, isWrong: boolean | null, text: () => string): void => {
      const key = `${code} ${subject}`;
      if (isWrong === false) this.holding.delete(key);
      if (isWrong !== true || this.holding.has(key)) return;
      const warning = { code, subject, atMs: facts.nowMs, text: text() };
      const before = this.toldMs.get(key) ?? -Infinity;
      this.holding.set(key, warning);
      if (facts.nowMs - before < REPEAT_AFTER_MS) return;
      this.toldMs.set(key, facts.nowMs);
      told.push(warning);
    };
    const volts = facts.highestV;
    check(
      'battery-low',
      '',
      below(volts, floorV, BACK_V),
      () => `${LOW}${volts!.toFixed(2)} V, below the floor of ${floorV!.toFixed(2)} V.`,
    );
    for (const { key, name, lastMs } of facts.meters) {
      const quietMs = facts.nowMs - lastMs;
      check(
        'meter-quiet',
        key,
        quietS === null ? false : quietMs > quietS * 1000,
        () => `${name}${QUIET}${durationText(quietMs / 1000)}.`,
      );
    }
    const late = awakeAfterS !== null && facts.nowMs > awakeAfterS * 1000;
    const isAwake = awakeAfterS === null || facts.asleep === true ? false : late && facts.asleep === false;
    check(
      'still-awake',
      '',
      isAwake || (facts.asleep === null ? null : false),
      () => `${AWAKE}${durationText(facts.nowMs / 1000)}.`,
    );
    const free = facts.diskFreeMb;
    check(
      'disk-low',
      '',
      below(free, diskFreeMb, (diskFreeMb ?? 0) * (BACK_DISK - 1)),
      () => `${DISK}${figureOfMb(free!)} left; recording stops when it is full.`,
    );
    return told;
  }
}

/** True below the limit, false clearly above it, null between, where nothing changes. */
function below(value: number | null, limit: number | null, back: number): boolean | null {
  if (limit === null) return false;
  if (value === null) return null;
  return value < limit ? true : value >= limit + back ? false : null;
}

function figureOfMb(mb: number): string {
  return mb < 1000 ? `${Math.floor(mb)} MB` : `${(mb / 1000).toFixed(1)} GB`;
}
