import type { ConnectOutcome, Sync } from '../../../web/sync/index.ts';
import { createSync } from '../../../web/sync/index.ts';
import type { Readings, RecordingMessage } from '../../../server/messages/socket.ts';

/** A page with nothing but the sync, for the test process to look at. */
const sync = createSync();
const bench = {
  sync,
  outcomes: [] as ConnectOutcome[],
  notices: [] as string[],
  recordings: [] as RecordingMessage[],
  readings: [] as Readings[],
  connections: [] as string[],
  awaited: [] as readonly { key: string; name: string }[],
  meters: [] as readonly { key: string; state: string }[],
};
sync.onNotice(({ text }) => bench.notices.push(text));
sync.onRecording((message) => bench.recordings.push(message));
sync.onReadings((readings) => bench.readings.push(readings));
sync.onConnection(({ state }) => bench.connections.push(state));
sync.onAwaited((awaited) => (bench.awaited = awaited));
sync.onMeters((meters) => (bench.meters = meters));

export type SyncBench = Omit<typeof bench, 'sync'> & { readonly sync: Sync };
(window as unknown as { bench: SyncBench }).bench = bench;

const button = document.createElement('button');
button.textContent = 'Connect a meter';
button.addEventListener('click', () => {
  void sync.connectMeter().then((outcome) => bench.outcomes.push(outcome));
});
document.body.append(button);
