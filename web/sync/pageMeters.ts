import type { Clock } from '../../drivers/core/clock.ts';
import type { Driver } from '../../drivers/core/driver.ts';
import { LinkError } from '../../drivers/core/errors.ts';
import type { Link, SeenMeter } from '../../drivers/core/link.ts';
import { listeningDriver } from '../../drivers/meters/taught/listening.ts';
import { DETAIL_SERVICES, detailsDiffer, detailsText } from '../../drivers/session/details.ts';
import { startSession } from '../../drivers/session/session.ts';
import type { Session, SessionReading, SessionState } from '../../drivers/session/types.ts';
import { hexOf } from '../../drivers/teach/bits.ts';
import type { Meter } from '../../server/messages/meters.ts';
import type { RawFrame } from '../../server/messages/rawFrames.ts';
import type { ConnectOutcome } from './api.ts';
import type { SessionGap } from './recordedMeter.ts';

export interface PageMetersOptions {
  readonly link: Link;
  /** Asked anew with each connection: a meter may have been taught meanwhile. */
  readonly drivers: () => readonly Driver[];
  /** Services beyond those of the drivers that the browser is to let this page use. */
  readonly vendorServices: () => readonly string[];
  readonly clock: Clock;
  /** 0..1, for the jitter of reconnections. */
  readonly random: () => number;
  /** The key under which a chosen meter goes on. */
  readonly keyFor: (meter: SeenMeter) => string;
  /** Takes a meter for this tab; null when another tab of this browser has it. */
  readonly claim: (key: string) => Promise<(() => void) | null>;
  readonly hooks: {
    onChange(): void;
    /** Once for each meter, before its first reading. */
    onMeter(key: string, name: string): void;
    onGone(key: string): void;
    onReadings(key: string, readings: readonly SessionReading[]): void;
    onGap(key: string, gap: SessionGap): void;
    onLink(key: string, up: boolean, text: string): void;
    onBadFrame(key: string, sentence: string): void;
    /** What the meter says of itself, when that is news. */
    onDetails(key: string, text: string): void;
    /** What a meter sends that is being taught. */
    onFrame(key: string, name: string, frame: RawFrame): void;
  };
}

interface Own {
  readonly id: string;
  meter: Meter;
  session: Session;
  release(): void;
}

/** It gives no readings, so nothing tells silence from a meter that sends only when its display changes. */
const LISTENING_SILENT_MS = 24 * 3_600_000;

const SHOWN_STATE = {
  connecting: 'connecting',
  connected: 'connected',
  reconnecting: 'reconnecting',
  failed: 'failed',
} as const satisfies Record<Exclude<SessionState, 'stopped'>, Meter['state']>;

/** The meters whose radio is in this page. */
export class PageMeters {
  private readonly own = new Map<string, Own>();

  constructor(private readonly options: PageMetersOptions) {}

  list(): Meter[] {
    return [...this.own.values()].map(({ meter }) => meter);
  }

  has(key: string): boolean {
    return this.own.has(key);
  }

  /** Opens the chooser and connects what is chosen; to be called in a person's gesture. Never rejects. */
  connect(): Promise<ConnectOutcome> {
    return this.choose((id, key, name, release) => this.start(id, key, name, release));
  }

  /** The same for a meter that is to be taught: its frames are handed on, and nothing is read. */
  listen(): Promise<ConnectOutcome> {
    return this.choose((id, key, name, release) =>
      this.start(id, key, name, release, this.listeningTo(key, name)),
    );
  }

  /** Reads a meter that was only listened to, now that it has been taught. */
  async readOn(key: string): Promise<ConnectOutcome> {
    const own = this.own.get(key);
    if (!own) return { ok: false, sentence: 'The meter is not connected any more.' };
    await own.session.stop();
    return this.start(own.id, key, own.meter.name, () => own.release());
  }

  private async choose(
    go: (id: string, key: string, name: string, release: () => void) => Promise<ConnectOutcome>,
  ): Promise<ConnectOutcome> {
    const { link, drivers, vendorServices, keyFor, claim } = this.options;
    const chosen: SeenMeter[] = [];
    try {
      await link.find({
        services: [], // many meters advertise none of their services
        alsoUse: [
          ...new Set([
            ...drivers().flatMap((driver) => driver.services.map((service) => service.uuid)),
            ...DETAIL_SERVICES,
            ...vendorServices(),
          ]),
        ],
        signal: new AbortController().signal,
        onSeen: (meter) => chosen.push(meter),
      });
    } catch (error) {
      return { ok: false, sentence: error instanceof LinkError ? error.message : String(error) };
    }
    const seen = chosen[0];
    if (!seen) return { ok: false, sentence: 'No meter was chosen.' };
    const key = keyFor(seen);
    const name = (seen.name ?? 'Meter without a name').slice(0, 120);
    if (this.own.has(key)) return { ok: true, key, name };
    const release = await claim(key);
    if (!release) return { ok: false, sentence: `${name} is in use in another tab of this browser.` };
    return go(seen.id, key, name, release);
  }

  async disconnect(key: string): Promise<void> {
    await this.own.get(key)?.session.stop();
    this.remove(key);
  }

  private listeningTo(key: string, name: string): readonly Driver[] {
    const { clock, hooks } = this.options;
    return [
      listeningDriver(({ service, characteristic }, bytes) =>
        hooks.onFrame(key, name, { service, characteristic, atMs: clock.nowMs(), hex: hexOf(bytes) }),
      ),
    ];
  }

  private start(
    id: string,
    key: string,
    name: string,
    release: () => void,
    listening: readonly Driver[] | null = null,
  ): Promise<ConnectOutcome> {
    const { link, clock, random, hooks } = this.options;
    const drivers = listening ?? this.options.drivers();
    return new Promise((resolve) => {
      const session = startSession({
        link,
        drivers,
        meterId: id,
        clock,
        random,
        ...(listening && { silentAfterMs: LISTENING_SILENT_MS }),
        hooks: {
          onState: (state, sentence) => {
            if (state === 'stopped') return;
            const before = this.own.get(key)?.meter.state;
            this.change(key, { state: SHOWN_STATE[state], sentence });
            if (state === 'connected') {
              hooks.onLink(key, true, `${name} is connected.`);
              resolve({ ok: true, key, name });
            } else if (state === 'reconnecting') {
              if (before === 'connected') hooks.onLink(key, false, `${name}: ${sentence}`);
              resolve({ ok: false, sentence: `${name}: ${sentence} Trying again.` });
            } else if (state === 'failed') {
              this.remove(key);
              resolve({ ok: false, sentence: `${name}: ${sentence}` });
            }
          },
          onMeter: ({ driverTitle, channels }) => {
            const shown = channels.map((channel) => ({
              key: channel.key,
              quantity: channel.quantity,
              label: channel.label,
              apertureMs: null,
              ...(channel.step !== null && { step: channel.step }),
            }));
            this.change(key, { driver: driverTitle.slice(0, 120), channels: shown });
            if (!listening) hooks.onMeter(key, name);
          },
          onDetails: (details) => {
            const before = this.own.get(key)?.meter.details;
            if (before && !detailsDiffer(before, details)) return;
            this.change(key, { details });
            hooks.onDetails(key, `${name}: ${detailsText(details)}`.slice(0, 400));
          },
          onReadings: (readings) => hooks.onReadings(key, readings),
          onGap: (gap) => hooks.onGap(key, gap),
          onBadFrame: (sentence) => hooks.onBadFrame(key, sentence),
        },
      });
      this.own.set(key, {
        id,
        session,
        release,
        meter: {
          key,
          source: 'page',
          name,
          driver: null,
          state: 'connecting',
          rssi: null,
          channels: [],
          sentence: 'Connecting.',
        },
      });
      hooks.onChange();
    });
  }

  private change(key: string, part: Partial<Meter>): void {
    const own = this.own.get(key);
    if (!own) return;
    own.meter = { ...own.meter, ...part };
    this.options.hooks.onChange();
  }

  private remove(key: string): void {
    const own = this.own.get(key);
    if (!own) return;
    this.own.delete(key);
    own.release();
    this.options.hooks.onGone(key);
    this.options.hooks.onChange();
  }
}
