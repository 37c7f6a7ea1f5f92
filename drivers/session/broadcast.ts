import { createAbort } from '../core/abort.ts';
import type { Cancel } from '../core/clock.ts';
import type { AdvertisementReader, Driver } from '../core/driver.ts';
import { DriverError, LinkError } from '../core/errors.ts';
import type { Advertisement } from '../core/link.ts';
import { saysNothing } from './details.ts';
import { Gaps } from './gaps.ts';
import type { BroadcastSessionOptions, Session, SessionState } from './types.ts';

const SILENT_AFTER_MS = 15_000;
const BACKOFF_MS = { first: 500, longest: 30_000 };
const JITTER = 0.2;
/** A meter that broadcasts once a minute is not silent after 15 s: so many of its usual intervals must pass. */
const USUAL_INTERVALS = 4;
/** Its usual interval is the median of so many of the last, once enough are known; an absence is one of them. */
const INTERVALS_KEPT = 8;
const INTERVALS_NEEDED = 3;

/**
 * Keeps the readings of a meter that broadcasts them coming; there is no connection. Never rejects; what goes
 * wrong is told through the hooks, which are those of a connected meter's session.
 */
export function startBroadcastSession(options: BroadcastSessionOptions): Session {
  const { link, clock, hooks, meterId } = options;
  const silentAfterMs = options.silentAfterMs ?? SILENT_AFTER_MS;
  const backoffMs = options.backoffMs ?? BACKOFF_MS;
  const speakers = options.drivers.filter((d) => d.openAdvertisement !== undefined);
  const services = speakers.flatMap((d) => d.services.map((s) => s.uuid));
  const stopping = createAbort();
  const stopped = new Promise<void>((resolve) => stopping.signal.addEventListener('abort', resolve));
  const gaps = new Gaps((gap) => hooks.onGap(gap));
  const intervals: number[] = [];
  let state: SessionState = 'connecting';
  let opened: { readonly driver: Driver; readonly reader: AdvertisementReader } | null = null;
  let channelsTold = 0;
  let detailsTold = '';
  let cancelSilence: Cancel = () => undefined;

  function tell(next: SessionState, sentence: string): void {
    state = next;
    hooks.onState(next, sentence);
  }

  function open(first: Advertisement): typeof opened {
    for (const driver of speakers) {
      const reader = driver.openAdvertisement!(first, options.secrets ?? null);
      if (reader) return { driver, reader };
    }
    return null;
  }

  function receive(advertisement: Advertisement): void {
    if (advertisement.id !== meterId || stopping.signal.aborted) return;
    opened ??= open(advertisement);
    if (opened === null) return;
    const { driver, reader } = opened;
    const { atMs } = advertisement;
    try {
      const readings = reader.read(advertisement).map(({ key, reading }) => ({ key, reading, atMs }));
      if (readings.length === 0) return;
      if (reader.channels.length > channelsTold) {
        channelsTold = reader.channels.length;
        hooks.onMeter({
          name: advertisement.name ?? meterId,
          driverId: driver.id,
          driverTitle: driver.title,
          channels: [...reader.channels],
        });
      }
      if (state !== 'connected') tell('connected', '');
      if (gaps.lastReadingMs !== null) keepInterval(atMs - gaps.lastReadingMs);
      gaps.heard(readings, new Set());
      watchSilence();
      hooks.onReadings(readings);
      tellDetails(reader);
    } catch (error) {
      if (!(error instanceof DriverError)) throw error;
      if (state === 'connecting') tell('connecting', error.message);
      hooks.onBadFrame(error.message, atMs);
    }
  }

  function tellDetails({ details }: AdvertisementReader): void {
    const now = JSON.stringify(details);
    if (now === detailsTold || saysNothing(details)) return;
    detailsTold = now;
    hooks.onDetails?.(details);
  }

  function keepInterval(ms: number): void {
    intervals.push(ms);
    if (intervals.length > INTERVALS_KEPT) intervals.shift();
  }

  function usualIntervalMs(): number {
    if (intervals.length < INTERVALS_NEEDED) return 0;
    return [...intervals].sort((x, y) => x - y)[intervals.length >> 1]!;
  }

  function watchSilence(): void {
    cancelSilence();
    const patienceMs = Math.max(silentAfterMs, USUAL_INTERVALS * usualIntervalMs());
    cancelSilence = clock.after(patienceMs, () => {
      gaps.begin('silent');
      tell('reconnecting', `The meter has not been heard for ${Math.round(patienceMs / 1000)} s.`);
    });
  }

  function pause(ms: number): Promise<void> {
    let cancel: Cancel = () => undefined;
    const waited = new Promise<void>((resolve) => {
      cancel = clock.after(ms, resolve);
    });
    return Promise.race([waited, stopped]).finally(() => cancel());
  }

  async function run(): Promise<void> {
    if (!link.listen) return tell('failed', 'This radio cannot hear meters that only broadcast.');
    let waitMs = backoffMs.first;
    hooks.onState(state, 'Listening for the meter.');
    while (!stopping.signal.aborted) {
      const heardBefore = gaps.lastReadingMs;
      try {
        await link.listen({ services, signal: stopping.signal, onAdvertisement: receive });
        if (stopping.signal.aborted) return;
        throw new LinkError('dropped', 'The radio stopped listening.');
      } catch (error) {
        if (!(error instanceof LinkError)) throw error;
        if (error.code === 'unsupported') return tell('failed', error.message);
        if (stopping.signal.aborted) return;
        gaps.begin(error.code === 'link-died' ? 'link-died' : 'dropped');
        cancelSilence();
        tell('reconnecting', error.message);
      }
      if (gaps.lastReadingMs !== heardBefore) waitMs = backoffMs.first;
      await pause(waitMs * (1 + JITTER * options.random()));
      waitMs = Math.min(waitMs * 2, backoffMs.longest);
    }
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
      cancelSilence();
      stopping.abort();
      await running;
      tell('stopped', 'Stopped.');
    },
  };
}
