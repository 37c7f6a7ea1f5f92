import type { Noble, Peripheral } from '@abandonware/noble';
import { createAbort } from '../../core/abort.ts';
import type { Abort, Clock } from '../../core/clock.ts';
import { LinkError } from '../../core/errors.ts';
import type { SeenMeter } from '../../core/link.ts';
import { withTimeLimit } from '../../core/timeLimit.ts';
import { oneAtATime } from './inTurn.ts';
import { openMeter, type Meter } from './meter.ts';
import type { Scanner } from './scanner.ts';

/** In units of 10 ms. The library's own 420 ms ends a connection whenever somebody walks past. */
const SUPERVISION_TIMEOUT = 400;
const CALL_OFF_LIMIT_MS = 3000;
const DISCONNECT_LIMIT_MS = 3000;

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
  readonly onDropped: (reason: string) => void;
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
    const limit = (what: string) => ({
      clock,
      ms: Math.max(0, byMs - clock.nowMs()),
      what,
      signal: request.signal,
    });
    const givenUp = createAbort();
    request.signal.addEventListener('abort', givenUp.abort);
    const connecting = heardAndConnected(request.id, givenUp.signal, () => limit('Connecting to the meter'));
    let peripheral: Peripheral;
    try {
      peripheral = await withTimeLimit(connecting, limit('Connecting to the meter'));
    } catch (error) {
      givenUp.abort();
      // Connected after all while we gave up: let go of it.
      connecting.then(release, () => undefined);
      throw absent(error, request.id) ?? error;
    } finally {
      request.signal.removeEventListener('abort', givenUp.abort);
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

  async function heardAndConnected(
    id: string,
    signal: Abort,
    limit: () => Parameters<typeof withTimeLimit>[1],
  ): Promise<Peripheral> {
    for (;;) {
      const peripheral = await scanner.hear(id, signal);
      const connected = await inTurn(async () => {
        if (signal.aborted) throw new LinkError('aborted', 'Connecting was called off.');
        if (!scanner.isFresh(id)) return false; // another connect took too long: listen again
        await scanner.quietly(() => connect(peripheral, limit()));
        return true;
      });
      if (connected) return peripheral;
    }
  }

  async function connect(peripheral: Peripheral, limit: Parameters<typeof withTimeLimit>[1]): Promise<void> {
    await release(peripheral);
    const attempt = peripheral.connectAsync({ timeout: SUPERVISION_TIMEOUT }).catch((error: unknown) => {
      const why = error instanceof Error ? error.message : String(error);
      throw new LinkError('refused', `The meter did not take the connection (${why}).`);
    });
    try {
      await withTimeLimit(attempt, limit);
    } catch (error) {
      if (peripheral.state === 'connecting') await callOff(peripheral);
      await release(peripheral);
      throw error;
    }
  }

  /** Resolves when the adapter has said what became of the pending connect: until then it takes no other. */
  async function callOff(peripheral: Peripheral): Promise<void> {
    peripheral.cancelConnect(); // says "connect" with an error of its own, at once
    if (!ownsController) return;
    const settled = new Promise<void>((resolve) => peripheral.once('connect', () => resolve()));
    const limit = { clock, ms: CALL_OFF_LIMIT_MS, what: 'Calling off the connect' };
    await withTimeLimit(settled, limit).catch(onStuck);
  }

  /** Ends a connection that nobody holds any more. */
  async function release(peripheral: Peripheral): Promise<void> {
    if (peripheral.state !== 'connected') return;
    const limit = { clock, ms: DISCONNECT_LIMIT_MS, what: 'Disconnecting' };
    await withTimeLimit(peripheral.disconnectAsync(), limit).catch(onStuck);
  }

  /** The error for a meter that was not even heard. */
  function absent(error: unknown, id: string): LinkError | null {
    const late = error instanceof LinkError && error.code === 'timed-out';
    return late && !scanner.isFresh(id)
      ? new LinkError(
          'not-found',
          'The meter is not in range: switch it on, bring it near, and disconnect it from other devices.',
        )
      : null;
  }
}
