/** One "clock" question: when it was sent and answered on the page's clock, and what the server said. */
export interface RoundTrip {
  readonly sentMs: number;
  readonly receivedMs: number;
  readonly serverNowMs: number;
}

/** Server's `nowMs` minus the page's, known to within `uncertaintyMs` at page time `atMs`. */
export interface ClockOffset {
  readonly offsetMs: number;
  readonly uncertaintyMs: number;
  readonly atMs: number;
}

// Crystals of phones and laptops are good to some 50 parts in a million; two of them may differ by twice that.
const DRIFT = 1e-4;

/**
 * The best of several round trips: the shortest, since the answer was given somewhere between its ends
 * (RFC 5905, section 10: the sample of least delay has the least offset error).
 */
export function bestOffset(trips: readonly RoundTrip[]): ClockOffset | null {
  let best: ClockOffset | null = null;
  for (const { sentMs, receivedMs, serverNowMs } of trips) {
    const uncertaintyMs = (receivedMs - sentMs) / 2;
    if (uncertaintyMs < 0 || (best && uncertaintyMs >= best.uncertaintyMs)) continue;
    best = { offsetMs: serverNowMs - (sentMs + receivedMs) / 2, uncertaintyMs, atMs: receivedMs };
  }
  return best;
}

/**
 * What to believe after a new measurement. While the two agree, the sharper one stays, the old one blunted
 * by possible drift; where they contradict each other, one of the clocks stood still and the new one is right.
 */
export function chooseOffset(old: ClockOffset | null, fresh: ClockOffset): ClockOffset {
  if (!old) return fresh;
  const oldUncertaintyMs = old.uncertaintyMs + DRIFT * Math.max(0, fresh.atMs - old.atMs);
  const agree = Math.abs(fresh.offsetMs - old.offsetMs) <= oldUncertaintyMs + fresh.uncertaintyMs;
  return agree && oldUncertaintyMs < fresh.uncertaintyMs ? old : fresh;
}

/** A jump of the wall clock against the page's clock larger than this may mean that the computer slept. */
const JUMP_MS = 1500;

export interface ClockJump {
  /** Wall clock against page clock; positive when the wall clock went forward. */
  readonly byMs: number;
  /** Page time of the last look before it. */
  readonly afterMs: number;
}

/**
 * Watches for sleep: a page's own clock may stand still while the computer sleeps, the wall clock does not.
 * From inside a page a sleep cannot be told from a step of the wall clock; only the server's clock settles it.
 */
export class SleepWatch {
  private last: { readonly nowMs: number; readonly aheadMs: number } | null = null;

  look(nowMs: number, utcMs: number): ClockJump | null {
    const { last } = this;
    const aheadMs = utcMs - nowMs;
    const byMs = last === null ? 0 : aheadMs - last.aheadMs;
    const jumped = last !== null && Math.abs(byMs) >= JUMP_MS;
    // Small differences add up over a night; only a sudden one is a jump.
    this.last = { nowMs, aheadMs };
    return jumped ? { byMs, afterMs: last.nowMs } : null;
  }
}
