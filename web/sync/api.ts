import type { Meter } from '../../server/messages/meters.ts';
import type { RawFrames } from '../../server/messages/rawFrames.ts';
import type { Notice, Readings, RecordingMessage } from '../../server/messages/socket.ts';

/** Ends a subscription; calling it twice does no harm. */
export type Unsubscribe = () => void;

/** Whether this page can reach its server. */
export interface ServerConnection {
  readonly state: 'connecting' | 'connected' | 'lost';
  /** What to show a person; empty while connected. */
  readonly sentence: string;
}

/** Readings of this page's meters that wait for the server to make them durable. */
export interface OutboxState {
  readonly waitingBatches: number;
  readonly waitingSamples: number;
  /** Age of the oldest waiting batch, milliseconds; 0 when nothing waits. */
  readonly oldestMs: number;
  /** False where this browser gives no storage: a reload then loses what waits. */
  readonly survivesReload: boolean;
  /** Why nothing moves, where that needs saying; empty otherwise. */
  readonly sentence: string;
}

/** A meter that a running recording expects from this browser, but that has to be chosen again (after a reload). */
export interface AwaitedMeter {
  readonly key: string;
  readonly name: string;
  readonly recordingId: string;
}

/** What a click on "connect a meter" came to. */
export type ConnectOutcome =
  | { readonly ok: true; readonly key: string; readonly name: string }
  | { readonly ok: false; readonly sentence: string };

/**
 * All that the page's other parts see of the server and of this browser's own meters. The `on...` methods
 * call the listener at once with the present value where there is one, then on each change; listeners run
 * outside any rendering and must not throw.
 */
export interface Sync {
  /** Web Bluetooth in this browser: usable or not, and one sentence why not. */
  readonly bluetooth: { readonly available: boolean; readonly sentence: string };
  readonly connection: ServerConnection;
  readonly outboxState: OutboxState;

  onConnection(listener: (connection: ServerConnection) => void): Unsubscribe;
  /** Every meter, wherever its radio is; this page's own are there while the server is away too. */
  onMeters(listener: (meters: readonly Meter[]) => void): Unsubscribe;
  /** New readings of any meter, a few times a second; times are on the server's `nowMs`. */
  onReadings(listener: (readings: Readings) => void): Unsubscribe;
  /** A recording that began, changed or stopped; a new listener first hears the last message of each. */
  onRecording(listener: (message: RecordingMessage) => void): Unsubscribe;
  onNotice(listener: (notice: Notice) => void): Unsubscribe;
  onOutbox(listener: (state: OutboxState) => void): Unsubscribe;
  onAwaited(listener: (meters: readonly AwaitedMeter[]) => void): Unsubscribe;

  /**
   * Opens the browser's chooser and connects what is chosen. Call it directly in a click handler: a browser
   * opens the chooser for a person's gesture only. Resolves once the meter is connected or has failed;
   * never rejects.
   */
  connectMeter(): Promise<ConnectOutcome>;
  disconnectMeter(key: string): Promise<void>;
  /** As `connectMeter`, for a meter that is to be taught: what it sends comes through `onFrames`. */
  listenToMeter(): Promise<ConnectOutcome>;
  /** Reads a meter of this page that was only listened to, now that it has been taught. */
  readOn(key: string): Promise<ConnectOutcome>;
  /** Frames of meters that are being taught, wherever their radio is. */
  onFrames(listener: (frames: RawFrames) => void): Unsubscribe;
  /** Takes over descriptions and services that have changed at the server. */
  reloadTaught(): Promise<void>;
  /** True for a meter whose radio is in this page. */
  isOwn(key: string): boolean;

  /** Now, on the server's `nowMs`, for the running chart's right edge; null until the clocks are matched. */
  serverNowMs(): number | null;
  close(): void;
}
