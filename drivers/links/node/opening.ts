import type { Noble, Peripheral } from '@abandonware/noble';
import { createAbort } from '../../core/abort.ts';
import type { Abort, Clock } from '../../core/clock.ts';
import { LinkError } from '../../core/errors.ts';
import type { EndedBy, SeenMeter } from '../../core/link.ts';
import { withTimeLimit } from '../../core/timeLimit.ts';
import { oneAtATime } from './inTurn.ts';
import { openMeter, type Meter } from './meter.ts';
import type { Scanner } from './scanner.ts';

/** In units of 10 ms. The library's own 420 ms ends a connection whenever somebody walks past. */
const SUPERVISION_TIMEOUT = 400;
/** One try of a connect, while nobody else can scan or connect. */
const TRY_MS = 6000;
/** For the adapter to obey. */
const SETTLE_LIMIT_MS = 3000;
const NOT_IN_RANGE =
  'The meter is not in range: switch it on, bring it near, and disconnect it from other devices.';

export interface OpenerOptions {
  readonly noble: Noble;
  readonly scanner: Scanner;
  readonly clock: Clock;
  readonly stepMs: number;
  /** The library's queue of connects is stuck for good. */
  readonly onStuck: () => void;
}

export interface OpenRequest {
  readonly id: string;
  readonly timeoutMs: number;
  readonly signal: Abort;
  readonly onDropped: (reason: string, endedBy: EndedBy) => void;
}

/**
 * Opens meters, one connect at a time, and only to meters that were heard a moment ago: a connect to an
 * absent one blocks this process for about 40 s and every other meter's bytes with it.
 */
export function createOpener({ noble, scanner, clock, stepMs, onStuck }: OpenerOptions) {
  const inTurn = oneAtATime();
  /** Where the library drives the controller itself it knows of one connect at a time. */
  const ownsController = noble._bindings?._gatts !== undefined;

  /** @throws LinkError not-found, timed-out, aborted, refused, dropped */
  return async function open(request: OpenRequest): Promise<{ meter: Meter; seen: SeenMeter }> {
    const byMs = clock.nowMs() + request.timeoutMs;
    const leftMs = (): number => Math.max(0, byMs - clock.nowMs());
    const givenUp = createAbort();
    const connecting = connected(request.id, givenUp.signal, leftMs);
    let peripheral: Peripheral;
    try {
      const limit = { clock, ms: leftMs(), what: 'Connecting to the meter', signal: request.signal };
      peripheral = await withTimeLimit(connecting.done, limit);
    } catch (error) {
      givenUp.abort();
      const late = error instanceof LinkError && error.code === 'timed-out';
      throw late && !connecting.wasHeard() ? new LinkError('not-found', NOT_IN_RANGE) : error;
    }
    const meter = await openMeter({
      noble,
      peripheral,
      clock,
      stepMs,
      discoverByMs: byMs,
      signal: request.signal,
      onDropped: request.onDropped,
    });
    return { meter, seen: scanner.meter(peripheral) };
  };

  /** The meter, connected; never after `signal`. */
  function connected(id: string, signal: Abort, leftMs: () => number) {
    let heard = false;
    async function run(): Promise<Peripheral> {
      for (;;) {
        const peripheral = await scanner.hear(id, signal);
        heard = true;
        const isConnected = await inTurn(async () => {
          if (signal.aborted) throw new LinkError('aborted', 'Connecting was called off.');
          // Another meter's connect took so long that this one may have gone: listen again.
          return scanner.isFresh(id) && scanner.quietly(() => connect(peripheral, signal, leftMs));
        });
        if (isConnected) return peripheral;
      }
    }
    return { done: run(), wasHeard: () => heard };
  }

  /** false: it took no connection within a try's time; others may have their turn. @throws LinkError */
  async function connect(peripheral: Peripheral, signal: Abort, leftMs: () => number): Promise<boolean> {
    await release(peripheral);
    const attempt = peripheral.connectAsync({ timeout: SUPERVISION_TIMEOUT }).catch((error: unknown) => {
      const why = error instanceof Error ? error.message : String(error);
      throw new LinkError('refused', `The meter did not take the connection (${why}).`);
    });
    const limit = { clock, ms: Math.min(TRY_MS, leftMs()), what: 'Connecting to the meter', signal };
    try {
      await withTimeLimit(attempt, limit);
      return true;
    } catch (error) {
      if (peripheral.state === 'connecting') await callOff(peripheral);
      await release(peripheral);
      if (error instanceof LinkError && error.code === 'timed-out' && leftMs() > 0) return false;
      throw error;
    }
  }

  /** Resolves when the adapter has said what became of the pending connect: until then it takes no other. */
  async function callOff(peripheral: Peripheral): Promise<void> {
    peripheral.cancelConnect(); // says "connect" with an error of its own, at once
    if (!ownsController) return;
    const settled = new Promise<void>((resolve) => peripheral.once('connect', () => resolve()));
    const limit = { clock, ms: SETTLE_LIMIT_MS, what: 'Calling off the connect' };
    await withTimeLimit(settled, limit).catch(onStuck);
  }

  /** Ends a connection that nobody holds any more, or waits for its end. */
  async function release(peripheral: Peripheral): Promise<void> {
    if (peripheral.state !== 'connected' && peripheral.state !== 'disconnecting') return;
    const ending =
      peripheral.state === 'connected'
        ? peripheral.disconnectAsync()
        : new Promise<void>((resolve) => peripheral.once('disconnect', () => resolve()));
    const limit = { clock, ms: SETTLE_LIMIT_MS, what: 'Disconnecting' };
    await withTimeLimit(ending, limit).catch(onStuck);
  }
}
