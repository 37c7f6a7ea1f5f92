import { createAbort } from '../core/abort.ts';
import type { Cancel } from '../core/clock.ts';
import { sameRef } from '../core/driver.ts';
import { DriverError, LinkError } from '../core/errors.ts';
import type { CharacteristicRef, Connection } from '../core/link.ts';
import { withTimeLimit } from '../core/timeLimit.ts';
import { openMeter, type OpenedMeter } from '../meters/registry.ts';
import { MeterTime } from './meterTime.ts';
import { readDetails, saysNothing } from './details.ts';
import { Gaps } from './gaps.ts';
import { readProfile } from './profile.ts';
import { startQueries } from './queries.ts';
import type { GapReason, Session, SessionOptions, SessionState } from './types.ts';

const DEFAULT_LIMITS = {
  connectTimeoutMs: 20_000,
  stepTimeoutMs: 8_000,
  silentAfterMs: 15_000,
  backoffMs: { first: 500, longest: 30_000 },
};
const DETAILS_LIMIT_MS = 5_000;
const JITTER = 0.2;

/**
 * Keeps one meter's readings coming: connects, asks the drivers, subscribes (or polls), and connects again
 * with growing waits whenever the meter drops or falls silent. Never rejects; what goes wrong is told
 * through the hooks.
 */
export function startSession(options: SessionOptions): Session {
  const { link, clock, hooks, meterId } = options;
  const limits = { ...DEFAULT_LIMITS, ...options };
  const stopping = createAbort();
  let state: SessionState = 'connecting';
  let announced = false;
  const { unitless } = options;
  const drivers =
    unitless === undefined ? options.drivers : options.drivers.map((d) => d.withUnitless?.(unitless) ?? d);

  const gaps = new Gaps((gap) => hooks.onGap(gap));
  const meterTime = new MeterTime();
  const stopped = new Promise<void>((resolve) => stopping.signal.addEventListener('abort', resolve));

  function tell(next: SessionState, sentence: string): void {
    state = next;
    hooks.onState(next, sentence);
  }

  function receive(meter: OpenedMeter, source: CharacteristicRef, bytes: Uint8Array, atMs: number): void {
    if (stopping.signal.aborted) return;
    try {
      const readings = meter.reader.read(source, bytes);
      if (readings.length === 0) return;
      const placed = meterTime.place(readings, atMs);
      gaps.heard(placed, new Set(readings.filter((r) => r.afterLoss).map((r) => r.key)));
      hooks.onReadings(placed);
    } catch (error) {
      if (!(error instanceof DriverError)) throw error;
      hooks.onBadFrame(error.message, atMs);
    }
  }

  /** The link has its own limit; ours is for a link that breaks its promise. A connection that comes late is closed. */
  async function connect(): Promise<Connection> {
    const ms = limits.connectTimeoutMs;
    const connecting = link.connect(meterId, { timeoutMs: ms, signal: stopping.signal });
    try {
      return await withTimeLimit(connecting, {
        clock,
        ms: ms + 2_000,
        what: 'Connecting',
        signal: stopping.signal,
      });
    } catch (error) {
      connecting.then((late) => late.close()).catch(() => undefined);
      throw error;
    }
  }

  /** Connects and stays until the connection has ended; resolves with the reason. @throws LinkError */
  async function oneConnection(
    onUp: () => void,
  ): Promise<{ reason: GapReason; sentence: string } | 'not-ours'> {
    const step = { clock, ms: limits.stepTimeoutMs, signal: stopping.signal };
    const opened = await connect();
    const stopTimers: Cancel[] = [];
    try {
      const ended = new Promise<{ reason: GapReason; sentence: string }>((resolve) => {
        opened.onDropped((why, endedBy) => {
          if (endedBy === 'meter') {
            const sentence = 'The meter ended the connection; it may have switched itself off.';
            resolve({ reason: 'meter-ended', sentence });
          } else {
            const reason = why === 'link-died' ? 'link-died' : 'dropped';
            resolve({ reason, sentence: 'The meter dropped the connection.' });
          }
        });
        void stopped.then(() => resolve({ reason: 'dropped', sentence: 'Stopped.' }));
        stopTimers.push(
          watchSilence(() => resolve({ reason: 'silent', sentence: 'The meter is connected but silent.' })),
        );
      });
      const meter = openMeter(await readProfile(opened, step), drivers);
      if (!meter) return 'not-ours';
      if (!announced) {
        announced = true;
        const { driverId, driverTitle, reader } = meter;
        hooks.onMeter({
          name: opened.meter.name ?? meterId,
          driverId,
          driverTitle,
          channels: reader.channels,
        });
      }
      for (const source of meter.reader.sources) {
        const info = opened.characteristics.find((c) => sameRef(c, source));
        if (info?.canNotify) {
          const subscribing = opened.subscribe(source, (bytes, atMs) => receive(meter, source, bytes, atMs));
          await withTimeLimit(subscribing, { ...step, what: 'Subscribing' });
        } else {
          stopTimers.push(poll(opened, meter, source));
        }
      }
      if (options.query) {
        const to = meter.reader.queryTo;
        if (!to)
          throw new LinkError('unsupported', 'This meter offers nothing that a question can be written to.');
        const { query, random } = options;
        stopTimers.push(startQueries({ connection: opened, to, query, random, stepMs: step.ms, ...step }));
      }
      tell('connected', '');
      onUp();
      void tellDetails(opened);
      return await ended;
    } finally {
      for (const stop of stopTimers) stop();
      await withTimeLimit(opened.close(), { clock, ms: limits.stepTimeoutMs, what: 'Disconnecting' }).catch(
        () => undefined,
      );
    }
  }

  /** Beside the readings, which do not wait for it. */
  async function tellDetails(opened: Connection): Promise<void> {
    const details = await readDetails(opened, { clock, ms: DETAILS_LIMIT_MS, signal: stopping.signal });
    if (!saysNothing(details) && !stopping.signal.aborted) hooks.onDetails?.(details);
  }

  function watchSilence(onSilent: () => void): Cancel {
    const since = clock.nowMs();
    let cancel: Cancel = () => undefined;
    const look = (): void => {
      const heard = Math.max(since, gaps.lastReadingMs ?? since);
      const left = heard + limits.silentAfterMs - clock.nowMs();
      if (left <= 0) onSilent();
      else cancel = clock.after(left, look);
    };
    look();
    return () => cancel();
  }

  /** Reads a characteristic that cannot notify, again and again; one read at a time. */
  function poll(opened: Connection, meter: OpenedMeter, source: CharacteristicRef): Cancel {
    let cancel: Cancel = () => undefined;
    let stopped = false;
    const once = async (): Promise<void> => {
      const started = clock.nowMs();
      try {
        const bytes = await withTimeLimit(opened.read(source), {
          clock,
          ms: limits.stepTimeoutMs,
          what: 'Reading',
        });
        if (!stopped) receive(meter, source, bytes, clock.nowMs());
      } catch (error) {
        if (!(error instanceof LinkError)) throw error;
        // A read that fails is silence; the silence watch and the drop listener decide what follows.
      }
      if (!stopped)
        cancel = clock.after(Math.max(0, started + meter.reader.pollMs - clock.nowMs()), () => void once());
    };
    void once();
    return () => {
      stopped = true;
      cancel();
    };
  }

  async function run(): Promise<void> {
    let waitMs = limits.backoffMs.first;
    hooks.onState(state, 'Connecting.');
    while (!stopping.signal.aborted) {
      let sentence: string;
      try {
        const end = await oneConnection(() => {
          waitMs = limits.backoffMs.first;
        });
        if (end === 'not-ours') return tell('failed', 'No driver knows this meter.');
        gaps.begin(end.reason);
        sentence = end.sentence;
      } catch (error) {
        if (!(error instanceof LinkError)) throw error;
        if (error.code === 'unsupported') return tell('failed', error.message);
        gaps.begin(error.code === 'link-died' ? 'link-died' : 'dropped');
        sentence = error.message;
      }
      if (stopping.signal.aborted) return;
      tell('reconnecting', sentence);
      await pause(waitMs * (1 + JITTER * options.random()));
      waitMs = Math.min(waitMs * 2, limits.backoffMs.longest);
    }
  }

  function pause(ms: number): Promise<void> {
    let cancel: Cancel = () => undefined;
    const waited = new Promise<void>((resolve) => {
      cancel = clock.after(ms, resolve);
    });
    return Promise.race([waited, stopped]).finally(() => cancel());
  }

  const running = run().catch((error: unknown) => {
    tell('failed', error instanceof Error ? error.message : String(error));
  });

  return {
    get state() {
      return state;
    },
    async stop() {
      if (stopping.signal.aborted) return running;
      gaps.end(clock.nowMs());
      stopping.abort();
      await running;
      tell('stopped', 'Stopped.');
    },
  };
}
