import type { Cancel, Clock } from '../../drivers/core/clock.ts';
import { WarningDesk, warningOfText, type WatchFacts } from '../battery/warnings.ts';
import type { Findings } from '../messages/findings.ts';
import { glanceOf } from '../messages/glance.ts';
import type { Recording } from '../messages/records.ts';
import type { WatchReport, WatchSettings, Warning } from '../messages/watch.ts';
import { liveSeries } from '../samples/columns.ts';
import type { Store } from '../store/store.ts';
import { postJson, Webhook, type Post, type PostResult } from './webhook.ts';

export interface WatchOptions {
  readonly store: Store;
  readonly clock: Clock;
  readonly running: () => readonly { readonly recording: Recording; readonly startNowMs: number | null }[];
  readonly findingsOf: (recordingId: string) => Findings;
  /** Megabytes free where the database is; null where that cannot be known. */
  readonly diskFreeMb: () => number | null;
  /** Makes the warning an event of the recording and tells the pages. */
  readonly onWarning: (recordingId: string, warning: Warning) => void;
  readonly log: (line: string) => void;
  readonly post?: Post;
}

const LOOK_EVERY_MS = 5000;
const FINDINGS_EVERY_MS = 60_000;
/** The analysis may take no more than this share of the time. */
const BUSY_SHARE = 0.05;
/** A battery is low when nothing reads higher for so long: a dip of a try or of a pulse is not. */
const LOW_FOR_MS = 30_000;

interface Watched {
  desk: WarningDesk | null;
  webhook: Webhook;
  readonly seen: Map<string, { samples: number; lastMs: number }>;
  findings: Findings | null;
  glance: string;
  glanceAt: string | null;
  nextFindingsMs: number;
}

/**
 * Looks after the running recordings while nobody is there: works the findings out again each minute, and warns by
 * what the settings of the recording say. It runs in the server, so no page needs to be open.
 */
export class Watch {
  private readonly watched = new Map<string, Watched>();
  private timer: Cancel;

  constructor(private readonly options: WatchOptions) {
    this.timer = options.clock.after(LOOK_EVERY_MS, () => this.look());
  }

  /** @throws NightdrawError not-found */
  report(recordingId: string): WatchReport {
    const settings = this.options.store.readWatch(recordingId);
    const w = this.watched.get(recordingId);
    const armed = settings === null ? null : withoutAddress(settings);
    return {
      recordingId,
      armed,
      glance: w?.glance ?? '',
      glanceAt: w?.glanceAt ?? null,
      warnings: settings === null ? [] : [...(w?.desk?.warnings ?? [])],
      webhook: w?.webhook.sentence ?? '',
    };
  }

  /** Null disarms. A webhook left undefined stays. @throws NightdrawError not-found, store-full */
  arm(
    recordingId: string,
    asked: (Omit<WatchSettings, 'webhook'> & { webhook?: string | null | undefined }) | null,
  ): WatchReport {
    const { store } = this.options;
    const before = store.readWatch(recordingId);
    const settings =
      asked === null
        ? null
        : { ...asked, webhook: asked.webhook === undefined ? (before?.webhook ?? null) : asked.webhook };
    store.writeWatch(recordingId, settings);
    const w = this.watched.get(recordingId);
    if (w !== undefined) w.desk = this.deskFor(recordingId);
    return this.report(recordingId);
  }

  /** Sends a message to try the address. */
  async tryWebhook(recordingId: string): Promise<PostResult> {
    const { store, clock, post = postJson } = this.options;
    const { title } = store.getRecording(recordingId);
    const url = store.readWatch(recordingId)?.webhook ?? null;
    if (url === null) return { ok: false, again: false, sentence: 'No address is set.' };
    return post(url, {
      schema: 'nightdraw.warning/1',
      recording: { id: recordingId, title },
      at: new Date(clock.utcMs()).toISOString(),
      warning: null,
      test: true,
    });
  }

  close(): void {
    this.timer();
    for (const w of this.watched.values()) w.webhook.close();
    this.watched.clear();
  }

  private look(): void {
    const { clock, running, log } = this.options;
    this.timer = clock.after(LOOK_EVERY_MS, () => this.look());
    const now = running();
    for (const [id, w] of this.watched)
      if (!now.some((r) => r.recording.id === id)) {
        w.webhook.close();
        this.watched.delete(id);
      }
    for (const { recording, startNowMs } of now) {
      if (startNowMs === null) continue;
      try {
        this.lookAt(recording, clock.nowMs() - startNowMs);
      } catch (error) {
        // A database that cannot be read now is told of elsewhere; the next look may succeed.
        log(`watch: ${error instanceof Error ? error.message : String(error)}`);
      }
    }
  }

  private lookAt({ id, kind }: Recording, nowMs: number): void {
    const { store, clock } = this.options;
    const w = this.watched.get(id) ?? this.begin(id);
    const recording = store.getRecording(id);
    this.noteSamples(w, recording, nowMs);
    if ((kind === 'overnight-test' || w.desk !== null) && clock.nowMs() >= w.nextFindingsMs)
      this.workOut(w, recording);
    if (w.desk === null) return;
    for (const warning of w.desk.look(this.factsOf(w, recording, nowMs))) this.warn(w, recording, warning);
  }

  private begin(id: string): Watched {
    const { clock, post = postJson, log } = this.options;
    const made: Watched = {
      desk: this.deskFor(id),
      webhook: new Webhook(clock, post, log),
      seen: new Map(),
      findings: null,
      glance: '',
      glanceAt: null,
      nextFindingsMs: clock.nowMs() + LOOK_EVERY_MS,
    };
    this.watched.set(id, made);
    return made;
  }

  private deskFor(id: string): WarningDesk | null {
    const { store } = this.options;
    const settings = store.readWatch(id);
    if (settings === null) return null;
    const desk = new WarningDesk(settings);
    for (const { kind, text, atMs } of store.listEvents(id)) {
      const known = kind === 'warning' ? warningOfText(text) : null;
      if (known === null) continue;
      const meter = store.getRecording(id).channels.find((c) => c.meterName === known.name);
      desk.remember(known.code, meter?.meterKey ?? '', atMs);
    }
    return desk;
  }

  /** A meter was last heard when its number of stored samples last rose. */
  private noteSamples(w: Watched, recording: Recording, nowMs: number): void {
    const counts = new Map<string, number>();
    for (const c of recording.channels) counts.set(c.meterKey, (counts.get(c.meterKey) ?? 0) + c.samples);
    for (const [key, samples] of counts) {
      const before = w.seen.get(key);
      if (before === undefined || samples > before.samples) w.seen.set(key, { samples, lastMs: nowMs });
    }
  }

  private workOut(w: Watched, recording: Recording): void {
    const { clock, findingsOf } = this.options;
    const begun = clock.nowMs();
    w.findings = findingsOf(recording.id);
    w.glance = glanceOf(w.findings, recording.zone);
    w.glanceAt = new Date(clock.utcMs()).toISOString();
    const took = clock.nowMs() - begun;
    w.nextFindingsMs = clock.nowMs() + Math.max(FINDINGS_EVERY_MS, took / BUSY_SHARE);
  }

  private factsOf(w: Watched, recording: Recording, nowMs: number): WatchFacts {
    const names = new Map(recording.channels.map((c) => [c.meterKey, c.meterName]));
    return {
      nowMs,
      highestV: this.highestVoltage(recording, nowMs),
      meters: [...w.seen].map(([key, { lastMs }]) => ({ key, name: names.get(key) ?? key, lastMs })),
      asleep: asleepBy(w.findings),
      diskFreeMb: this.options.diskFreeMb(),
    };
  }

  private highestVoltage(recording: Recording, nowMs: number): number | null {
    const channel = recording.channels
      .filter((c) => c.quantity === 'voltage' && c.samples > 0)
      .sort((a, b) => b.samples - a.samples)[0];
    if (channel === undefined || nowMs < LOW_FOR_MS) return null;
    const from = nowMs - LOW_FOR_MS;
    const { t, y } = liveSeries(this.options.store.readSamples(channel.id, from, Infinity));
    let highest: number | null = null;
    for (let i = t.length - 1; i >= 0 && t[i]! * 1000 >= from; i--)
      if (highest === null || y[i]! > highest) highest = y[i]!;
    return highest;
  }

  private warn(w: Watched, { id, title }: Recording, warning: Warning): void {
    const { store, clock, onWarning } = this.options;
    onWarning(id, warning);
    const url = store.readWatch(id)?.webhook ?? null;
    if (url === null) return;
    const { code, subject, text } = warning;
    w.webhook.send(url, {
      schema: 'nightdraw.warning/1',
      recording: { id, title },
      at: new Date(clock.utcMs()).toISOString(),
      warning: { code, subject, text },
      test: false,
    });
  }
}

function asleepBy(findings: Findings | null): boolean | null {
  if (findings === null) return null;
  const { state } = findings.sleep;
  if (state === 'slept' || state === 'asleep-from-start') return true;
  return findings.recording.channels.some((c) => c.quantity === 'current' && c.samples > 0) ? false : null;
}

function withoutAddress({ webhook, ...settings }: WatchSettings): NonNullable<WatchReport['armed']> {
  return { ...settings, webhookHost: webhook === null ? null : new URL(webhook).host };
}
