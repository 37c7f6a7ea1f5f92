/** Stops a timer that was set with `Clock.after`; calling it twice does no harm. */
export type Cancel = () => void;

/**
 * Time as pure code sees it. The caller injects one: the process clock, the page clock, or the virtual
 * car's clock, which can run faster than time.
 */
export interface Clock {
  /** Milliseconds, fractions allowed, on a clock that never steps. Its zero is arbitrary. */
  nowMs(): number;
  /** Milliseconds since 1970 by the wall clock, which may step. */
  utcMs(): number;
  /** Calls `run` once, `delayMs` from now. */
  after(delayMs: number, run: () => void): Cancel;
}

/** The part of the platform's AbortSignal that pure code needs. */
export interface Abort {
  readonly aborted: boolean;
  addEventListener(type: 'abort', listener: () => void): void;
  removeEventListener(type: 'abort', listener: () => void): void;
}
