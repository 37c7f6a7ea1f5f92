import { pageClock } from '../../drivers/links/browser/clock.ts';
import { createBrowserLink } from '../../drivers/links/browser/link.ts';
import { browserBluetooth } from '../../drivers/links/browser/support.ts';
import { DRIVERS } from '../../drivers/meters/registry.ts';
import type { Meter } from '../../server/messages/meters.ts';
import type { RawFrames } from '../../server/messages/rawFrames.ts';
import { vendorServicesSchema } from '../../server/messages/meterSettings.ts';
import { taughtMeterListSchema } from '../../server/messages/taughtMeters.ts';
import type { Notice, Readings, RecordingMessage } from '../../server/messages/socket.ts';
import { ApiError, createApi } from '../state/api.ts';
import { alone, claim } from './alone.ts';
import type { AwaitedMeter, OutboxState, ServerConnection, Sync } from './api.ts';
import type { BatchStore } from './batchStore.ts';
import { Listeners, Present } from './listeners.ts';
import { memoryBatches } from './memoryBatches.ts';
import { awaitedMeters, keyFor, type KnownMeter } from './meterKeys.ts';
import { Outbox } from './outbox.ts';
import { OwnReadings } from './ownReadings.ts';
import { watchPage } from './pageLife.ts';
import { PageMeters } from './pageMeters.ts';
import { PageRecorder } from './pageRecorder.ts';
import { ServerClock } from './serverClock.ts';
import { connectSocket } from './socket.ts';
import { openStoredBatches } from './storedBatches.ts';
import { TaughtHere } from './taughtHere.ts';
import { createWakeLock } from './wakeLock.ts';

const LOST: ServerConnection = {
  state: 'lost',
  sentence:
    'The server does not answer. Readings of this page\u2019s meters are kept here and sent when it is back.',
};
const NOTHING_WAITS: OutboxState = {
  waitingBatches: 0,
  waitingSamples: 0,
  oldestMs: 0,
  survivesReload: true,
  sentence: '',
};

/** The page's one tie to its server and to its own meters. */
export function createSync(): Sync {
  const clock = pageClock;
  const connection = new Present<ServerConnection>({
    state: 'connecting',
    sentence: 'Connecting to the server.',
  });
  const meters = new Present<readonly Meter[]>([]);
  const outboxState = new Present<OutboxState>(NOTHING_WAITS);
  const awaited = new Present<readonly AwaitedMeter[]>([]);
  const readings = new Listeners<Readings>();
  const recordings = new Listeners<RecordingMessage>();
  const notices = new Listeners<Notice>();
  const frames = new Listeners<RawFrames>();
  const taught = new TaughtHere(DRIVERS);
  const lastRecordings = new Map<string, { message: RecordingMessage; connection: number }>();
  const api = createApi((path, init) => fetch(path, init as RequestInit));
  const notice = (n: Notice): void => notices.tell(n);

  let serverMeters: readonly Meter[] = [];
  let known: readonly KnownMeter[] = [];
  let up: number | null = null;
  let recorder: PageRecorder | null = null;
  let outbox: Outbox | null = null;
  const wakeLock = createWakeLock();
  const shown = new Map<string, OwnReadings>();

  const socket = connectSocket({
    onUp(number) {
      up = number;
      connection.set({ state: 'connected', sentence: '' });
      announce();
      void matchClocks();
      void reloadTaught();
      outbox?.setConnected(true);
    },
    onDown() {
      up = null;
      connection.set(LOST);
      outbox?.setConnected(false);
    },
    onMeters(list) {
      serverMeters = list;
      listMeters();
    },
    onReadings(message) {
      if (!own.has(message.meterKey)) readings.tell(message);
    },
    onRecording,
    onNotice: notice,
    onFrames: (message) => frames.tell(message),
  });
  const serverClock = new ServerClock(clock, () => socket.clock());

  const own: PageMeters = new PageMeters({
    link: createBrowserLink(),
    drivers: () => taught.drivers,
    vendorServices: () => taught.services,
    clock,
    random: Math.random,
    keyFor: (meter) => keyFor(meter, known, awaited.value),
    claim: (key) => claim(`nightdraw-meter-${key}`),
    hooks: {
      onChange() {
        listMeters();
        announce();
      },
      onMeter(key, name) {
        known = [...known.filter((meter) => meter.key !== key), { key, name }];
        void store.then((s) => s.keepMeter({ key, name })).catch(() => undefined);
        if (shown.has(key)) return; // told again
        shown.set(key, new OwnReadings(key, clock, (ms) => serverClock.serverMs(ms), tellOwn));
        recorder?.meterAppeared(key);
      },
      onGone(key) {
        shown.get(key)?.close();
        shown.delete(key);
        recorder?.meterGone(key);
      },
      onReadings(key, batch) {
        lookAtClock();
        recorder?.readings(key, batch);
        shown.get(key)?.add(batch);
      },
      onGap: (key, gap) => recorder?.gap(key, gap),
      onLink: (key, isUp, text) => recorder?.link(key, isUp, text),
      onBadFrame: (key, sentence) => recorder?.badFrame(key, sentence),
      onDetails: (key, text) => recorder?.note(key, text),
      onFrame: (meterKey, name, frame) => frames.tell({ meterKey, name, frames: [frame] }),
    },
  });

  const store: Promise<BatchStore> = openStoredBatches().catch(() => {
    notice({
      level: 'warning',
      text: 'This browser gives the page no storage: readings that wait for the server are lost when the page is reloaded.',
    });
    return memoryBatches();
  });
  void store.then(startRecorder).catch((error: unknown) => {
    notice({ level: 'error', text: `This browser cannot keep readings: ${String(error)}`.slice(0, 400) });
  });

  async function startRecorder(batches: BatchStore): Promise<void> {
    known = [...known, ...(await batches.meters())];
    outbox = await Outbox.open({
      store: batches,
      send: (batch) => socket.batch(batch),
      clock,
      alone,
      onState: (state) => outboxState.set(state),
      onNotice: notice,
    });
    recorder = new PageRecorder({
      clock,
      outbox,
      offsetOn: (number) => serverClock.offsetOn(number),
      onNotice: notice,
    });
    outboxState.set(outbox.state);
    // What was heard before the store was open.
    for (const meter of own.list()) if (meter.channels.length > 0) recorder.meterAppeared(meter.key);
    for (const { message, connection: on } of lastRecordings.values()) recorder.heard(message, on);
    outbox.setConnected(up !== null);
    listAwaited();
  }

  function onRecording(message: RecordingMessage, number: number): void {
    lastRecordings.set(message.recording.id, { message, connection: number });
    recorder?.heard(message, number);
    recordings.tell(message);
    listAwaited();
  }

  /** Without the server the page goes on with what it had. */
  async function reloadTaught(): Promise<void> {
    try {
      const meters = await api.ask('GET', 'taught-meters', taughtMeterListSchema);
      taught.set(meters, await api.ask('GET', 'taught-meters/vendor-services', vendorServicesSchema));
    } catch (error) {
      if (!(error instanceof ApiError)) throw error;
    }
  }

  function announce(): void {
    socket.announce(own.list().filter((meter) => meter.state !== 'failed'));
    wakeLock.want(own.list().length > 0);
  }

  function listMeters(): void {
    const mine = own.list();
    meters.set([...mine, ...serverMeters.filter((meter) => !own.has(meter.key))]);
    listAwaited();
  }

  function listAwaited(): void {
    const running = [...lastRecordings.values()]
      .map(({ message }) => message.recording)
      .filter((r) => r.state === 'recording');
    awaited.set(awaitedMeters(running, known, new Set(own.list().map((meter) => meter.key))));
  }

  /** Called as readings arrive, since a hidden page's timers cannot be relied on. */
  function lookAtClock(): void {
    const jump = serverClock.jumped();
    if (jump) recorder?.clockJumped(jump, up !== null);
    if (up !== null && (jump || serverClock.due)) void matchClocks();
  }

  async function matchClocks(): Promise<void> {
    const number = up;
    if (number === null || !(await serverClock.sync(number)) || up !== number) return;
    recorder?.clockMatched();
    // The server tells its running recordings first thing, so by now all of them are heard.
    for (const { message, connection: heardOn } of lastRecordings.values())
      if (message.recording.state === 'recording' && heardOn !== number)
        void askAbout(message.recording.id, number);
  }

  /** A recording that ran before the connection was lost and is not told of now: it has ended, or is gone. */
  async function askAbout(id: string, number: number): Promise<void> {
    try {
      const { recording } = await api.getRecording(id);
      if (recording.state === 'stopped') onRecording({ recording, startNowMs: null }, number);
    } catch (error) {
      if (!(error instanceof ApiError) || error.code !== 'not-found') return;
      lastRecordings.delete(id);
      recorder?.deleted(id);
      listAwaited();
    }
  }

  function tellOwn(message: Readings): void {
    readings.tell(message);
    if (!recorder?.isRecorded(message.meterKey)) socket.relay(message);
  }

  const unwatchPage = watchPage({
    onHide: () => recorder?.cutAll(),
    isNeeded: () => own.list().some((meter) => recorder?.isRecorded(meter.key)),
  });

  return {
    bluetooth: browserBluetooth(),
    get connection() {
      return connection.value;
    },
    get outboxState() {
      return outbox?.state ?? outboxState.value;
    },
    onConnection: (listener) => connection.add(listener),
    onMeters: (listener) => meters.add(listener),
    onReadings: (listener) => readings.add(listener),
    onRecording(listener) {
      for (const { message } of lastRecordings.values()) listener(message);
      return recordings.add(listener);
    },
    onNotice: (listener) => notices.add(listener),
    onOutbox: (listener) => outboxState.add(listener),
    onAwaited: (listener) => awaited.add(listener),
    connectMeter: () => own.connect(),
    disconnectMeter: (key) => own.disconnect(key),
    listenToMeter: () => own.listen(),
    readOn: (key) => own.readOn(key),
    onFrames: (listener) => frames.add(listener),
    reloadTaught,
    isOwn: (key) => own.has(key),
    serverNowMs: () => serverClock.serverMs(clock.nowMs()),
    close() {
      unwatchPage();
      recorder?.close();
      for (const meter of own.list()) void own.disconnect(meter.key);
      socket.close();
    },
  };
}
