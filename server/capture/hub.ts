import type { Cancel, Clock } from '../../drivers/core/clock.ts';
import type { Driver } from '../../drivers/core/driver.ts';
import { LinkError } from '../../drivers/core/errors.ts';
import { detailsText } from '../../drivers/session/details.ts';
import { NightdrawError } from '../messages/errors.ts';
import type { StartRecording } from '../messages/http.ts';
import type { BluetoothStatus, Meter } from '../messages/meters.ts';
import type { AttemptOutcome, Recording, RecordingEvent } from '../messages/records.ts';
import type { Readings, RecordingMessage } from '../messages/socket.ts';
import type { HeldZeroCheck, ZeroCheckRequest } from '../messages/zeroCheck.ts';
import type { Store } from '../store/store.ts';
import type { BindKeys } from './bindKeys.ts';
import { Broadcast, type HubListener } from './broadcast.ts';
import type { Claims } from './claims.ts';
import { watchClock } from './clockSteps.ts';
import { askedOf, recordOf, type Asked } from './meterRecords.ts';
import { MeterTable } from './meterTable.ts';
import type { OpenRecording } from './openRecording.ts';
import { PageMeters } from './pageMeters.ts';
import type { Radio, VirtualCar } from './radio.ts';
import { Recordings, type RecordingsOptions } from './recordings.ts';
import { Scanner } from './scanner.ts';
import { Sessions } from './sessions.ts';
import { TaughtDrivers } from './taughtDrivers.ts';
import { ZeroChecks } from './zeroChecks.ts';

export interface HubOptions {
  readonly store: Store;
  readonly clock: Clock;
  /** 0..1, for the jitter of reconnections. */
  readonly random: () => number;
  readonly drivers: readonly Driver[];
  readonly radio: Radio;
  readonly car: VirtualCar;
  readonly claims: Claims;
  /** For meters that encrypt what they broadcast. */
  readonly bindKeys?: BindKeys;
  /** How to ask and understand a meter, where that stands before its record. */
  readonly asking?: Partial<Asked>;
  readonly recorder?: RecordingsOptions['recorder'];
  /** See `watchClock`. */
  readonly suspendedMs?: () => number | null;
  /** Readings and the meter list are gathered for so long before they are told. */
  readonly tellEveryMs?: number;
}

/** A page shows a reading within two or three frames of 60 a second, and 20 pages still cost little. */
const TELL_EVERY_MS = 30;

const VIRTUAL_SETTLES_MS = 1000;

/**
 * All meters that are alive, wherever their radio is, and all recordings that run over them. Errors are
 * NightdrawError.
 */
export class Hub {
  private readonly table: MeterTable;
  private readonly broadcast: Broadcast;
  private readonly recordings: Recordings;
  private readonly sessions: Sessions;
  private readonly scanner: Scanner;
  /** What the pages' sockets call. */
  readonly pages: PageMeters;
  /** Descriptions of taught meters, and all drivers. */
  readonly taught: TaughtDrivers;
  private readonly zeroChecks: ZeroChecks;
  private readonly stopClockWatch: Cancel;
  private carRuns = false;

  constructor(private readonly options: HubOptions) {
    const { store, clock, random, radio, car, claims } = options;
    this.taught = new TaughtDrivers(store, options.drivers);
    const drivers = () => this.taught.all();
    this.broadcast = new Broadcast(clock, () => this.meters(), options.tellEveryMs ?? TELL_EVERY_MS);
    this.table = new MeterTable(
      () => this.broadcast.meterListChanged(),
      (key) => this.broadcast.forget(key),
    );
    this.zeroChecks = new ZeroChecks({ store, clock, broadcast: this.broadcast });
    this.recordings = new Recordings({
      store,
      clock,
      claims,
      broadcast: this.broadcast,
      recorder: options.recorder ?? {},
    });
    this.sessions = new Sessions({
      clock,
      random,
      drivers,
      radios: { server: radio, virtual: car.radio },
      table: this.table,
      secretsOf: (id) => options.bindKeys?.secretsOf(id) ?? null,
      recordOf: (key) => askedOf(store.readMeterRecord(key), options.asking),
      sink: {
        onReadings: (key, readings) => {
          for (const open of this.recordings.with(key)) open.feed(key, readings);
          this.broadcast.gather(
            key,
            readings.map(({ key: channel, reading, atMs }) => ({ ...reading, key: channel, atMs })),
          );
        },
        onGap: (key, startMs, endMs, reason, channelKey) => {
          for (const open of this.recordings.with(key)) open.gap(key, startMs, endMs, reason, channelKey);
        },
        onChannels: (key) => this.channelsShown(key),
        onDetails: (key, text) => {
          for (const open of this.recordings.with(key)) this.noteDetails(open, key, text);
        },
        onBadFrame: (key, sentence, atMs) => {
          for (const open of this.recordings.with(key)) open.badFrame(key, sentence, atMs);
        },
        onLink: (key, what, sentence) => this.linkChanged(key, what, sentence),
        onFrame: (key, { service, characteristic }, bytes, atMs) =>
          this.broadcast.frame(key, {
            service,
            characteristic,
            atMs,
            hex: Buffer.from(bytes).toString('hex'),
          }),
      },
    });
    this.pages = new PageMeters({
      store,
      clock,
      table: this.table,
      broadcast: this.broadcast,
      recordings: this.recordings,
    });
    this.scanner = new Scanner({
      clock,
      drivers,
      link: radio.link,
      table: this.table,
      isInUse: (key) => this.sessions.has(key),
    });
    this.stopClockWatch = watchClock(clock, (step) => this.recordings.clockStep(step), {
      onSleep: (sleep) => this.recordings.slept(sleep),
      ...(options.suspendedMs && { suspendedMs: options.suspendedMs }),
    });
  }

  listen(listener: HubListener): Cancel {
    return this.broadcast.listen(listener);
  }

  meters(): Meter[] {
    return this.table.list();
  }

  lastReadings(): readonly Readings[] {
    return this.broadcast.lastReadings();
  }

  runningRecordings(): readonly RecordingMessage[] {
    return this.recordings.messages();
  }

  bluetooth(): BluetoothStatus {
    return this.options.radio.status();
  }

  get virtualCarRuns(): boolean {
    return this.carRuns;
  }

  /** Looks for meters with the server's own radio; a scan that already runs is joined. */
  async scan(seconds: number): Promise<Meter[]> {
    try {
      await this.scanner.scan(seconds);
    } catch (error) {
      throw fromLink(error);
    }
    return this.meters();
  }

  connect(key: string, known: { readonly name?: string; readonly driver?: string } = {}): Meter {
    if (key.startsWith('virtual:')) this.startCar();
    return this.sessions.connect(key, known);
  }

  /** @throws NightdrawError conflict while the meter is being recorded */
  async disconnect(key: string): Promise<Meter> {
    this.table.get(key);
    this.refuseWhileRecorded(key);
    await this.sessions.disconnect(key);
    this.table.change(key, { state: 'seen', sentence: '' });
    this.broadcast.forget(key);
    return this.table.get(key);
  }

  /** Hands on what an unknown meter sends, so that it can be taught. */
  async listenTo(key: string): Promise<Meter> {
    this.refuseWhileRecorded(key);
    return this.sessions.listen(key);
  }

  /**
   * A few seconds of a connected meter with nothing to measure. Held for its next recording, or made part of one
   * that is stopped.
   */
  async checkZero(key: string, { seconds, recordingId }: ZeroCheckRequest): Promise<HeldZeroCheck[]> {
    const meter = this.table.get(key);
    if (meter.state !== 'connected')
      throw new NightdrawError('conflict', `${meter.name} is not connected; connect it first.`);
    this.refuseWhileRecorded(key);
    if (recordingId !== null && this.isRunning(recordingId))
      throw new NightdrawError(
        'conflict',
        'Stop the recording first; its readings would be those of the check.',
      );
    if (recordingId !== null) this.options.store.getRecording(recordingId);
    const checks = await this.withNothing(meter, () => this.zeroChecks.take(meter, seconds));
    if (recordingId === null) this.zeroChecks.hold(checks);
    else this.zeroChecks.addTo(recordingId, checks);
    return [...checks];
  }

  /** Checks that the next recording of their meter will have. */
  heldZeroChecks(): HeldZeroCheck[] {
    return this.zeroChecks.held();
  }

  get bindKeys(): BindKeys | null {
    return this.options.bindKeys ?? null;
  }

  async virtualCar(action: 'start' | 'stop' | 'touch-handle' | 'wake'): Promise<void> {
    const { car } = this.options;
    const keys = car.meterIds.map((id) => `virtual:${id}`);
    if (action === 'start') {
      for (const key of keys) this.connect(key);
    } else if (action === 'stop') {
      for (const key of keys) this.refuseWhileRecorded(key);
      await Promise.all(keys.map((key) => this.sessions.disconnect(key)));
      for (const key of keys) this.table.remove(key);
      if (this.carRuns) car.stop();
      this.carRuns = false;
    } else if (!this.carRuns) {
      throw new NightdrawError('conflict', 'The virtual car is not running; start it first.');
    } else if (action === 'wake') car.wake();
    else car.touchHandle();
  }

  startRecording(input: StartRecording): Recording {
    const { store } = this.options;
    const meters = [...new Set(input.meters)].map((key) => {
      const meter = this.table.get(key);
      if (meter.channels.length > 0) return meter;
      if (meter.state === 'failed') throw new NightdrawError('meter-unknown', meter.sentence);
      if (meter.state === 'seen') throw new NightdrawError('conflict', `Connect ${meter.name} first.`);
      throw new NightdrawError('meter-unreachable', `${meter.name} has not answered yet.`);
    });
    const records = meters.flatMap((meter) => recordOf(store.readMeterRecord(meter.key), meter));
    const recording = this.recordings.start(input, meters, records);
    store.atomically(() => this.addHeldChecks(recording));
    const open = this.recordings.find(recording.id);
    for (const { key, details } of meters) {
      const text = details ? detailsText(details) : null;
      if (text !== null && open !== undefined) this.noteDetails(open, key, text);
    }
    return recording;
  }

  stopRecording(id: string): Recording {
    return this.recordings.stop(id, (key) => this.table.find(key)?.state === 'connected');
  }

  moveRecording(id: string, caseId: string | null): Recording {
    return this.recordings.move(id, caseId);
  }

  addEvent(
    id: string,
    kind: 'attempt' | 'note',
    text: string,
    more: { readonly outcome?: AttemptOutcome | null; readonly nowMs?: number } = {},
  ): RecordingEvent {
    return this.recordings.addEvent(id, { kind, text, ...more });
  }

  /** A warning of the watch, in the recording and on the pages. */
  warn(recordingId: string, text: string): void {
    this.recordings.warn(recordingId, text);
    // An error stays on the pages until somebody puts it away.
    this.broadcast.notice({ level: 'error', text });
  }

  /** Seconds of a running recording at a time of this clock that is not ahead, or now; null: it does not run. */
  runningTimeS(recordingId: string, nowMs = Infinity): number | null {
    const open = this.recordings.find(recordingId);
    return open === undefined ? null : open.timeOf(Math.min(nowMs, this.options.clock.nowMs())) / 1000;
  }

  isRunning(recordingId: string): boolean {
    return this.recordings.find(recordingId) !== undefined;
  }

  /** Takes up what a crash left running, and connects the meters that it needs. */
  resume(): void {
    for (const { key, ...known } of this.recordings.resume()) {
      try {
        this.connect(key, known);
      } catch (error) {
        this.broadcast.notice({ level: 'warning', text: fromLink(error).message });
      }
    }
  }

  /** Disconnects all meters and makes everything durable. @returns samples that could not be stored */
  async close(): Promise<number> {
    this.stopClockWatch();
    this.scanner.stop();
    await this.sessions.close();
    if (this.carRuns) this.options.car.stop();
    const lost = this.recordings.close();
    this.broadcast.close();
    return lost;
  }

  private startCar(): void {
    if (this.carRuns) return;
    this.options.car.start();
    this.carRuns = true;
  }

  /** A check belongs to one recording: the next begins with a clamp that may have been moved since. */
  private addHeldChecks(recording: Recording): void {
    const keys = new Set(recording.channels.map((c) => c.meterKey));
    const held = this.zeroChecks.held().filter((check) => keys.has(check.meterKey));
    if (held.length === 0) return;
    this.zeroChecks.addTo(recording.id, held);
    for (const key of keys) this.zeroChecks.forget(key);
  }

  /** A person takes a real clamp off before they ask; that of the virtual car is taken off here. */
  private async withNothing<T>({ source, key }: Meter, check: () => Promise<T>): Promise<T> {
    if (source !== 'virtual') return check();
    const { car, clock } = this.options;
    const putBack = car.takeOff(key.slice('virtual:'.length));
    try {
      // What was converted before is still on its way.
      await new Promise<void>((resolve) => clock.after(VIRTUAL_SETTLES_MS, resolve));
      return await check();
    } finally {
      putBack();
    }
  }

  private refuseWhileRecorded(key: string): void {
    if (this.recordings.with(key).length > 0)
      throw new NightdrawError('conflict', 'This meter is being recorded; stop the recording first.');
  }

  /** A meter that broadcasts may bring a channel that its recordings do not have yet. */
  private channelsShown(key: string): void {
    try {
      for (const open of this.recordings.with(key)) this.recordings.addChannels(open, this.table.get(key));
    } catch (error) {
      this.broadcast.notice({ level: 'error', text: fromLink(error).message });
    }
  }

  private noteDetails(open: OpenRecording, key: string, text: string): void {
    const name = this.table.find(key)?.name ?? key;
    open.event('note', `${name}: ${text}`, this.options.clock.nowMs());
  }

  private linkChanged(key: string, what: 'connected' | 'dropped' | 'failed', sentence: string): void {
    const nowMs = this.options.clock.nowMs();
    const name = this.table.find(key)?.name ?? key;
    for (const open of this.recordings.with(key)) {
      if (what === 'connected') open.event('meter-connected', `${name} is connected.`, nowMs);
      else open.event('meter-dropped', `${name}: ${sentence}`, nowMs);
      if (what === 'failed') open.absent(key, 'dropped');
    }
  }
}

/** A radio's failure as the page is told of it. */
function fromLink(error: unknown): NightdrawError {
  if (error instanceof NightdrawError) return error;
  if (!(error instanceof LinkError)) return new NightdrawError('internal', String(error));
  const unusable =
    error.code === 'no-bluetooth' || error.code === 'not-allowed' || error.code === 'link-died';
  return new NightdrawError(unusable ? 'no-bluetooth' : 'meter-unreachable', error.message);
}
