import type { Clock } from '../../drivers/core/clock.ts';
import {
  bestOffset,
  chooseOffset,
  SleepWatch,
  type ClockJump,
  type ClockOffset,
  type RoundTrip,
} from './clockSync.ts';

const TRIPS = 7;
const AGAIN_AFTER_MS = 60_000;

/** The server's clock as this page knows it. */
export class ServerClock {
  private offset: ClockOffset | null = null;
  /** The connection on which the offset was measured; a new one may lead to a server with another clock. */
  private measuredOn = 0;
  private syncing = false;
  private readonly sleepWatch = new SleepWatch();

  constructor(
    private readonly clock: Clock,
    private readonly ask: () => Promise<{ readonly nowMs: number }>,
  ) {}

  /** Server's `nowMs` minus the page's, if it was measured on this connection. */
  offsetOn(connection: number): number | null {
    return this.offset && this.measuredOn === connection ? this.offset.offsetMs : null;
  }

  /** A page time on the server's clock, by the last measurement; null before the first. */
  serverMs(pageMs: number): number | null {
    return this.offset && pageMs + this.offset.offsetMs;
  }

  get due(): boolean {
    return !this.offset || this.clock.nowMs() - this.offset.atMs > AGAIN_AFTER_MS;
  }

  /** A jump of the wall clock against the page's clock since the last call. */
  jumped(): ClockJump | null {
    return this.sleepWatch.look(this.clock.nowMs(), this.clock.utcMs());
  }

  /** Measures anew. @returns false when the server did not answer, or a measurement is under way */
  async sync(connection: number): Promise<boolean> {
    if (this.syncing) return false;
    this.syncing = true;
    try {
      const trips: RoundTrip[] = [];
      for (let i = 0; i < TRIPS; i++) {
        const sentMs = this.clock.nowMs();
        const { nowMs } = await this.ask();
        trips.push({ sentMs, receivedMs: this.clock.nowMs(), serverNowMs: nowMs });
      }
      const fresh = bestOffset(trips);
      if (!fresh) return false;
      this.offset = chooseOffset(this.measuredOn === connection ? this.offset : null, fresh);
      this.measuredOn = connection;
      return true;
    } catch {
      return false; // the connection ended; the next one begins with a measurement
    } finally {
      this.syncing = false;
    }
  }
}
