import type { Clock } from '../../drivers/core/clock.ts';
import type { Driver } from '../../drivers/core/driver.ts';
import { startSession } from '../../drivers/session/session.ts';
import type { GapReason, Session, SessionReading, SessionState } from '../../drivers/session/types.ts';
import { NightdrawError } from '../messages/errors.ts';
import type { Meter } from '../messages/meters.ts';
import { displayName } from './displayName.ts';
import type { MeterTable } from './meterTable.ts';
import type { Radio } from './radio.ts';

/** What the hub wants to know of its own meters; times are on the clock's `nowMs`. */
export interface SessionSink {
  onReadings(meterKey: string, readings: readonly SessionReading[]): void;
  onGap(meterKey: string, startMs: number, endMs: number, reason: GapReason): void;
  onBadFrame(meterKey: string, sentence: string, atMs: number): void;
  onLink(meterKey: string, what: 'connected' | 'dropped' | 'failed', sentence: string): void;
}

export interface SessionsOptions {
  readonly clock: Clock;
  readonly random: () => number;
  readonly drivers: readonly Driver[];
  readonly radios: Readonly<Record<'server' | 'virtual', Radio>>;
  readonly table: MeterTable;
  readonly sink: SessionSink;
}

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

  constructor(private readonly options: SessionsOptions) {}

  has(key: string): boolean {
    return this.sessions.has(key);
  }

  /**
   * Begins to connect and to stay connected; how it goes is told through the meter table.
   * @throws NightdrawError bad-request for a meter of a page, no-bluetooth
   */
  connect(key: string, name?: string): Meter {
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
      name: before?.name ?? name ?? id,
      driver: before?.driver ?? null,
      state: 'connecting',
      rssi: before?.rssi ?? null,
      channels: before?.channels ?? [],
      sentence: 'Connecting.',
    });
    this.sessions.set(key, this.start(key, radio, id));
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
    const { clock, random, drivers, table, sink } = this.options;
    let wasConnected = false;
    return startSession({
      link: radio.link,
      drivers,
      meterId,
      clock,
      random,
      hooks: {
        onState: (state, sentence) => {
          table.change(key, { state: STATE[state], sentence: sentence.slice(0, 400) });
          if (state === 'connected') sink.onLink(key, 'connected', sentence);
          else if (state === 'failed') sink.onLink(key, 'failed', sentence);
          else if (state !== 'stopped' && wasConnected) sink.onLink(key, 'dropped', sentence);
          wasConnected = state === 'connected';
        },
        onMeter: (meter) =>
          table.change(key, {
            name: displayName(meter.name) || meterId,
            driver: meter.driverTitle.slice(0, 120),
            channels: meter.channels.map(({ key: channel, quantity, label }) => ({
              key: channel,
              quantity,
              label: displayName(label),
              apertureMs: null,
            })),
          }),
        onReadings: (readings) => {
          this.learnApertures(key, readings);
          sink.onReadings(key, readings);
        },
        onGap: ({ startMs, endMs, reason }) => sink.onGap(key, startMs, endMs, reason),
        onBadFrame: (sentence, atMs) => sink.onBadFrame(key, sentence, atMs),
      },
    });
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
