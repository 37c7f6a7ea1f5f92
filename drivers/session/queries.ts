import type { Abort, Cancel, Clock } from '../core/clock.ts';
import { LinkError } from '../core/errors.ts';
import type { CharacteristicRef, Connection } from '../core/link.ts';
import { withTimeLimit } from '../core/timeLimit.ts';

/** A question that a meter answers with a reading. */
export interface Query {
  /** Sent as ASCII, with a line feed behind it where it has none. */
  readonly text: string;
  readonly intervalMs: number;
}

export interface QueriesOptions {
  readonly connection: Connection;
  readonly to: CharacteristicRef;
  readonly query: Query;
  readonly clock: Clock;
  /** 0..1 */
  readonly random: () => number;
  readonly stepMs: number;
  readonly signal: Abort;
}

/**
 * Asks once in each interval, at a random moment of it. Evenly spaced samples show a pulse train that is
 * faster than they are as a slower one that is not there; with each sample uniform in its interval the mean
 * of every such ghost is zero, while the average stays what it is (jittered sampling: Shapiro and Silverman,
 * 1960, from memory).
 */
export function startQueries(options: QueriesOptions): Cancel {
  const { connection, to, query, clock, random } = options;
  const line = query.text.endsWith('\n') ? query.text : `${query.text}\n`;
  const bytes = Uint8Array.from(line, (c) => c.charCodeAt(0) & 0x7f);
  const originMs = clock.nowMs();
  let cancel: Cancel = () => undefined;
  let stopped = false;
  let asking = false;
  let withResponse = true;

  function plan(interval: number): void {
    const atMs = originMs + (interval + random()) * query.intervalMs;
    cancel = clock.after(Math.max(0, atMs - clock.nowMs()), () => {
      if (stopped) return;
      // Where timers came late, the intervals that have passed are left out.
      plan(Math.max(interval + 1, Math.floor((clock.nowMs() - originMs) / query.intervalMs)));
      if (!asking) void ask();
    });
  }

  async function ask(): Promise<void> {
    asking = true;
    try {
      const limit = { clock, ms: options.stepMs, what: 'Asking the meter', signal: options.signal };
      await withTimeLimit(connection.write(to, bytes, withResponse), limit);
    } catch (error) {
      if (!(error instanceof LinkError)) throw error;
      // Many serial modules take writes without a response only. Any other failure is silence, which the
      // session watches.
      if (error.code === 'refused') withResponse = !withResponse;
    } finally {
      asking = false;
    }
  }

  plan(0);
  return () => {
    stopped = true;
    cancel();
  };
}
