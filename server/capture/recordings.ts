import type { Clock } from '../../drivers/core/clock.ts';
import { NightdrawError } from '../messages/errors.ts';
import type { StartRecording } from '../messages/http.ts';
import type { RecordedMeterRecord } from '../messages/meterRecord.ts';
import type { Meter } from '../messages/meters.ts';
import type { AttemptOutcome, ChannelInput, Recording, RecordingEvent } from '../messages/records.ts';
import type { RecordingMessage } from '../messages/socket.ts';
import type { Store } from '../store/store.ts';
import type { Broadcast } from './broadcast.ts';
import type { Claims } from './claims.ts';
import { COMMIT_EVERY_MS, CommitGroup } from './commitGroup.ts';
import { clockStepText, sleepText, type ClockStep, type Sleep } from './clockSteps.ts';
import { OpenRecording } from './openRecording.ts';
import { Recorder, type RecorderOptions } from './recorder.ts';
import { awayText, elapsedMs, lastSampleMs } from './resume.ts';

export interface RecordingsOptions {
  readonly store: Store;
  readonly clock: Clock;
  readonly broadcast: Broadcast;
  readonly claims: Claims;
  readonly recorder: Pick<RecorderOptions, 'waitingLimit' | 'retryMs'> & {
    /** The readings of all recordings in so long share one durable write. */
    readonly commitEveryMs?: number;
  };
}

/** The recordings that are running: starts them, stops them, and takes them up again after a crash. */
export class Recordings {
  private readonly running = new Map<string, OpenRecording>();

  private readonly group: CommitGroup;

  constructor(private readonly options: RecordingsOptions) {
    const { store, clock, recorder } = options;
    this.group = new CommitGroup(store, clock, recorder.commitEveryMs ?? COMMIT_EVERY_MS);
  }

  all(): readonly OpenRecording[] {
    return [...this.running.values()];
  }

  find(id: string): OpenRecording | undefined {
    return this.running.get(id);
  }

  with(meterKey: string): readonly OpenRecording[] {
    return this.all().filter((r) => r.hasMeter(meterKey));
  }

  messages(): readonly RecordingMessage[] {
    return this.all().map((r) => ({ recording: r.recording, startNowMs: r.startNowMs }));
  }

  /** @throws NightdrawError not-found, store-full, store-failed */
  start(
    input: StartRecording,
    meters: readonly Meter[],
    records: readonly RecordedMeterRecord[] = [],
  ): Recording {
    const { store, clock } = this.options;
    if (input.caseId !== null) store.getCase(input.caseId);
    const startNowMs = clock.nowMs();
    const recording = store.createRecording({
      caseId: input.caseId,
      kind: input.kind,
      title: input.title,
      startedAt: new Date(clock.utcMs()).toISOString(),
      zone: input.zone,
      provenance: provenanceOf(meters),
      state: 'recording',
      channels: meters.flatMap(channelsOf),
      meters: records,
    });
    const open = this.open(recording, startNowMs);
    open.event('started', `Started with ${meters.map((m) => m.name).join(', ')}.`, startNowMs);
    for (const meter of meters)
      if (meter.source !== 'page' && meter.state !== 'connected') open.absent(meter.key, 'dropped');
    this.tell(open);
    return recording;
  }

  /** @throws NightdrawError store-full, store-failed: then the recording goes on */
  stop(id: string, isConnected: (meterKey: string) => boolean): Recording {
    const { store, clock } = this.options;
    const open = this.running.get(id);
    if (open === undefined) return store.getRecording(id);
    if (!open.recorder.flush())
      throw new NightdrawError(
        'store-full',
        'The last readings could not be stored yet; free some disk space and stop again.',
      );
    const nowMs = clock.nowMs();
    open.finish(nowMs, isConnected);
    open.event('stopped', 'Stopped.', nowMs);
    open.recorder.flush();
    const recording = store.stopRecording(id, open.timeOf(nowMs));
    open.recorder.close();
    this.running.delete(id);
    this.options.claims.drop(id);
    this.options.broadcast.recording({ recording, startNowMs: null });
    return recording;
  }

  /**
   * What a person marks; durable when it returns. `nowMs` says when it happened, where the message took its time.
   * @throws NightdrawError conflict when the recording does not run
   */
  addEvent(
    id: string,
    said: {
      readonly kind: 'attempt' | 'note';
      readonly text: string;
      readonly outcome?: AttemptOutcome | null;
      readonly nowMs?: number;
    },
  ): RecordingEvent {
    const { store, clock } = this.options;
    const open = this.running.get(id);
    if (open === undefined) {
      store.getRecording(id);
      throw new NightdrawError('conflict', 'The recording is not running any more.');
    }
    const { kind, text, outcome = null } = said;
    const happened = Math.max(open.startNowMs, Math.min(said.nowMs ?? Infinity, clock.nowMs()));
    const event: RecordingEvent = {
      atMs: open.timeOf(happened),
      kind,
      text,
      value: null,
      ...(outcome !== null && { outcome }),
    };
    store.commit({ recordingId: id, samples: [], gaps: [], events: [event], batch: null });
    this.tell(open);
    return event;
  }

  /** Kept with the next readings, so that a disk that is full now does not lose it; told at once. */
  warn(id: string, text: string): void {
    const open = this.running.get(id);
    if (open === undefined) return;
    open.event('warning', text, this.options.clock.nowMs());
    open.recorder.flush();
    this.tell(open);
  }

  /** @throws NightdrawError not-found */
  move(id: string, caseId: string | null): Recording {
    const recording = this.options.store.moveRecording(id, caseId);
    const open = this.running.get(id);
    open?.update(recording);
    this.options.broadcast.recording({ recording, startNowMs: open?.startNowMs ?? null });
    return recording;
  }

  addChannels(open: OpenRecording, meter: Meter): void {
    const known = open.recording.channels.filter((c) => c.meterKey === meter.key).map((c) => c.key);
    const fresh = channelsOf(meter).filter((c) => !known.includes(c.key));
    for (const channel of fresh) this.options.store.addChannel(open.recording.id, channel);
    if (fresh.length > 0) open.update(this.options.store.getRecording(open.recording.id));
  }

  /**
   * Takes up the recordings that a crash or a shutdown left running.
   * @returns the meters of this server that they need
   */
  resume(): { readonly key: string; readonly name: string; readonly driver: string }[] {
    const { store, clock, claims } = this.options;
    const meters = new Map<string, { readonly name: string; readonly driver: string }>();
    const left = store.unfinishedRecordings().filter((r) => !claims.isElsewhere(r.id));
    for (const recording of left) {
      const elapsed = elapsedMs(recording, store.listEvents(recording.id), clock.utcMs());
      const nowMs = clock.nowMs();
      const open = this.open(recording, nowMs - elapsed);
      open.event('server-restarted', awayText(elapsed - recording.durationMs), nowMs);
      for (const { meterKey, meterName: name, driver } of recording.channels)
        if (!meterKey.startsWith('page:')) meters.set(meterKey, { name, driver });
      for (const key of meters.keys())
        open.absent(key, 'server-down', (id) => lastSampleMs(store, id, recording.durationMs));
      this.tell(open);
    }
    return [...meters].map(([key, known]) => ({ key, ...known }));
  }

  clockStep({ atMs, stepMs }: ClockStep): void {
    for (const open of this.all()) {
      if (open.knowsStep(open.timeOf(atMs), stepMs)) continue;
      open.noteStep(open.timeOf(atMs), stepMs);
      open.event('clock-step', clockStepText(stepMs), atMs, stepMs);
    }
  }

  /** The recording's time goes on behind the sleep, so that its times stay those of the wall. */
  slept(sleep: Sleep): void {
    for (const open of this.all()) {
      const { beforeMs, atMs, missedMs } = sleep;
      // A page on this computer sees the same jump and takes it for a step of the clock.
      if (missedMs > 0) open.noteStep(open.timeOf(beforeMs), missedMs);
      open.sleep(sleep);
      if (missedMs > 0) open.noteStep(open.timeOf(atMs), missedMs);
      open.event('note', sleepText(sleep), atMs);
      this.tell(open);
    }
  }

  /** Makes everything durable and lets go; the recordings stay open in the store. @returns samples that are lost */
  close(): number {
    let lost = 0;
    for (const open of this.all()) {
      if (!open.recorder.flush()) lost += open.recorder.waitingSamples;
      open.recorder.close();
      this.options.claims.drop(open.recording.id);
    }
    this.running.clear();
    return lost;
  }

  tell(open: OpenRecording): void {
    this.options.broadcast.recording({ recording: open.recording, startNowMs: open.startNowMs });
  }

  private open(recording: Recording, startNowMs: number): OpenRecording {
    const { store, clock, broadcast } = this.options;
    const recorder = new Recorder({
      store,
      clock,
      recordingId: recording.id,
      startNowMs,
      ...this.options.recorder,
      group: this.group,
      onTrouble: ({ over, sentence }) => broadcast.notice({ level: over ? 'info' : 'error', text: sentence }),
    });
    const open = new OpenRecording(recording, startNowMs, recorder);
    this.running.set(recording.id, open);
    this.options.claims.take(recording.id);
    return open;
  }
}

function channelsOf(meter: Meter): ChannelInput[] {
  return meter.channels.map((c) => ({
    meterKey: meter.key,
    meterName: meter.name,
    driver: meter.driver ?? '',
    key: c.key,
    quantity: c.quantity,
    label: c.label,
    apertureMs: c.apertureMs,
    ...(c.step && { step: c.step }),
  }));
}

function provenanceOf(meters: readonly Meter[]): string {
  const from = {
    server: 'read by this computer',
    page: 'read by a browser',
    virtual: 'a meter of the virtual car, not of a real vehicle',
  };
  return meters.map((m) => `${m.name}: ${from[m.source]}.`).join(' ');
}
