import type { Clock } from '../../drivers/core/clock.ts';
import type { Driver, MeterDetails, Secrets } from '../../drivers/core/driver.ts';
import type { CharacteristicRef } from '../../drivers/core/link.ts';
import { listeningDriver } from '../../drivers/meters/taught/listening.ts';
import { startBroadcastSession } from '../../drivers/session/broadcast.ts';
import { detailsDiffer, detailsText } from '../../drivers/session/details.ts';
import { startSession } from '../../drivers/session/session.ts';
import type {
  GapReason,
  Session,
  SessionHooks,
  SessionReading,
  SessionState,
} from '../../drivers/session/types.ts';
import { NightdrawError } from '../messages/errors.ts';
import type { MeterRecord } from '../messages/meterRecord.ts';
import type { Meter } from '../messages/meters.ts';
import { broadcastDriver, hearBroadcast } from './broadcasts.ts';
import { displayName } from './displayName.ts';
import type { MeterTable } from './meterTable.ts';
import type { Radio } from './radio.ts';

/** What the hub wants to know of its own meters; times are on the clock's `nowMs`. */
export interface SessionSink {
  onReadings(meterKey: string, readings: readonly SessionReading[]): void;
  /** `channelKey` null: all channels of the meter. */
  onGap(meterKey: string, startMs: number, endMs: number, reason: GapReason, channelKey: string | null): void;
  /** The meter has shown what channels it has; told again when it brings another. */
  onChannels(meterKey: string): void;
  /** What the meter says of itself, when that is news. */
  onDetails(meterKey: string, text: string): void;
  onBadFrame(meterKey: string, sentence: string, atMs: number): void;
  onLink(meterKey: string, what: 'connected' | 'dropped' | 'failed', sentence: string): void;
  /** What a meter sends that is being taught. */
  onFrame(meterKey: string, source: CharacteristicRef, bytes: Uint8Array, atMs: number): void;
}

export interface SessionsOptions {
  readonly clock: Clock;
  readonly random: () => number;
  /** Asked anew with each connection: a meter may have been taught meanwhile. */
  readonly drivers: () => readonly Driver[];
  readonly radios: Readonly<Record<'server' | 'virtual', Radio>>;
  readonly table: MeterTable;
  readonly sink: SessionSink;
  /** For meters that encrypt what they broadcast. */
  readonly secretsOf: (meterId: string) => Secrets | null;
  /** How a meter is to be asked and understood; null for the usual way. */
  readonly recordOf: (meterKey: string) => Pick<MeterRecord, 'query' | 'unitless'> | null;
}

const LISTENING_SILENT_MS = 24 * 3_600_000;

const STATE: Readonly<Record<SessionState, Meter['state']>> = {
  connecting: 'connecting',
  connected: 'connected',
  reconnecting: 'reconnecting',
  failed: 'failed',
  stopped: 'seen',
};

/** The meters that this server is connected to, or trying to be: one session for each. */
export class Sessions {
  private readonly sessions = new Map<string, Session>();
  private readonly details = new Map<string, MeterDetails>();

  constructor(private readonly options: SessionsOptions) {}

  has(key: string): boolean {
    return this.sessions.has(key);
  }

  /** What the meter said of itself; null while it has said nothing. */
  detailsText(key: string): string | null {
    const details = this.details.get(key);
    return details === undefined ? null : detailsText(details);
  }

  /**
   * Begins to connect and to stay connected; how it goes is told through the meter table.
   * @throws NightdrawError bad-request for a meter of a page, no-bluetooth
   */
  connect(key: string, known: { readonly name?: string; readonly driver?: string } = {}): Meter {
    const { table } = this.options;
    const { radio, source, id } = this.radioOf(key);
    const status = radio.status();
    if (status.state === 'unavailable') throw new NightdrawError('no-bluetooth', status.sentence);
    const running = this.sessions.get(key);
    if (running !== undefined && running.state !== 'failed') return table.get(key);
    const before = table.find(key);
    table.put({
      key,
      source,
      name: before?.name ?? known.name ?? id,
      driver: before?.driver ?? known.driver ?? null,
      state: 'connecting',
      rssi: before?.rssi ?? null,
      channels: before?.channels ?? [],
      sentence: 'Connecting.',
    });
    this.sessions.set(key, this.start(key, radio, id));
    return table.get(key);
  }

  /**
   * Begins to hand on what an unknown meter sends, so that it can be taught.
   * @throws NightdrawError bad-request for a meter of a page, no-bluetooth
   */
  async listen(key: string): Promise<Meter> {
    const { table, clock, random, sink } = this.options;
    const { radio, source, id } = this.radioOf(key);
    const status = radio.status();
    if (status.state === 'unavailable') throw new NightdrawError('no-bluetooth', status.sentence);
    await this.disconnect(key);
    const before = table.find(key);
    table.put({
      key,
      source,
      name: before?.name ?? id,
      driver: null,
      state: 'connecting',
      rssi: before?.rssi ?? null,
      channels: [],
      sentence: 'Connecting.',
    });
    const listening = listeningDriver((from, bytes) => sink.onFrame(key, from, bytes, clock.nowMs()));
    this.sessions.set(
      key,
      startSession({
        link: radio.link,
        drivers: [listening],
        meterId: id,
        clock,
        random,
        // It gives no readings, so nothing tells silence from a meter that sends only when its display changes.
        silentAfterMs: LISTENING_SILENT_MS,
        hooks: this.hooksOf(key),
      }),
    );
    return table.get(key);
  }

  async disconnect(key: string): Promise<void> {
    const session = this.sessions.get(key);
    this.sessions.delete(key);
    await session?.stop();
  }

  async close(): Promise<void> {
    await Promise.all([...this.sessions.keys()].map((key) => this.disconnect(key)));
  }

  private start(key: string, radio: Radio, meterId: string): Session {
    const { clock, random, table, secretsOf, recordOf } = this.options;
    const drivers = this.options.drivers();
    const record = recordOf(key);
    const common = {
      link: radio.link,
      drivers,
      meterId,
      clock,
      random,
      ...(record?.query && { query: record.query }),
      ...(record?.unitless && { unitless: record.unitless }),
    };
    const driver = table.get(key).driver;
    if (broadcastDriver(drivers, (d) => d.title === driver) !== undefined)
      return startBroadcastSession({ ...common, hooks: this.hooksOf(key), secrets: secretsOf(meterId) });
    const hooks = this.hooksOf(key);
    if (driver !== null) return startSession({ ...common, hooks });

    // Nothing is known of this meter: it may be one that only broadcasts, and then takes no connection.
    const hearing = hearBroadcast(radio.link, drivers, meterId, ({ title }) => {
      void this.restart(key, session, title);
    });
    const session = startSession({
      ...common,
      hooks: {
        ...hooks,
        onState: (state, sentence) => {
          if (state === 'connected' || state === 'stopped') hearing.stop();
          hooks.onState(state, sentence);
        },
      },
    });
    return session;
  }

  /** Goes on with a meter in the way of the driver that has just been found to know it. */
  private async restart(key: string, session: Session, driver: string): Promise<void> {
    if (this.sessions.get(key) !== session) return;
    await session.stop();
    if (this.sessions.get(key) !== session) return; // disconnected meanwhile
    const { radio, id } = this.radioOf(key);
    this.options.table.change(key, { driver, state: 'connecting' });
    this.sessions.set(key, this.start(key, radio, id));
  }

  private hooksOf(key: string): SessionHooks {
    const { table, sink } = this.options;
    let wasConnected = false;
    return {
      onState: (state, sentence) => {
        const shown = state === 'connected' ? (this.detailsText(key) ?? sentence) : sentence;
        table.change(key, { state: STATE[state], sentence: shown.slice(0, 400) });
        if (state === 'connected') sink.onLink(key, 'connected', sentence);
        else if (state === 'failed') sink.onLink(key, 'failed', sentence);
        else if (state !== 'stopped' && wasConnected) sink.onLink(key, 'dropped', sentence);
        wasConnected = state === 'connected';
      },
      onMeter: (meter) => {
        const id = this.radioOf(key).id;
        table.change(key, {
          name: displayName(meter.name) || id,
          driver: meter.driverTitle.slice(0, 120),
          channels: meter.channels.map(({ key: channel, quantity, label, step }) => ({
            key: channel,
            quantity,
            label: displayName(label),
            apertureMs: null,
            ...(step !== null && { step }),
          })),
        });
        sink.onChannels(key);
      },
      onReadings: (readings) => {
        this.learnApertures(key, readings);
        sink.onReadings(key, readings);
      },
      onGap: ({ startMs, endMs, reason, channel }) =>
        sink.onGap(key, startMs, endMs, reason, channel ?? null),
      onBadFrame: (sentence, atMs) => sink.onBadFrame(key, sentence, atMs),
      onDetails: (details) => {
        const before = this.details.get(key);
        if (before !== undefined && !detailsDiffer(before, details)) return;
        this.details.set(key, details);
        table.change(key, { details });
        const text = detailsText(details);
        if (table.find(key)?.state === 'connected') table.change(key, { sentence: text });
        sink.onDetails(key, text);
      },
    };
  }

  /** Some characteristics say with each value over how long it was averaged. */
  private learnApertures(key: string, readings: readonly SessionReading[]): void {
    for (const { key: channelKey, reading } of readings) {
      if (reading.apertureS === undefined || reading.apertureS <= 0) continue;
      const apertureMs = reading.apertureS * 1000;
      const channels = this.options.table.find(key)?.channels ?? [];
      if (!channels.some((c) => c.key === channelKey && c.apertureMs !== apertureMs)) continue;
      this.options.table.change(key, {
        channels: channels.map((c) => (c.key === channelKey ? { ...c, apertureMs } : c)),
      });
    }
  }

  private radioOf(key: string): { radio: Radio; source: 'server' | 'virtual'; id: string } {
    const [source = '', ...rest] = key.split(':');
    if (source !== 'server' && source !== 'virtual')
      throw new NightdrawError('bad-request', 'Only a meter of this server can be connected from here.');
    return { radio: this.options.radios[source], source, id: rest.join(':') };
  }
}
