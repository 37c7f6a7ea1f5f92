import { createAbort } from '../../../drivers/core/abort.ts';
import { pageClock } from '../../../drivers/links/browser/clock.ts';
import { createBrowserLink } from '../../../drivers/links/browser/link.ts';
import { DRIVERS } from '../../../drivers/meters/registry.ts';
import { startSession } from '../../../drivers/session/session.ts';
import type { Session, SessionHooks } from '../../../drivers/session/types.ts';

/** A page that keeps one meter's readings coming, and shows them to the test process. */

const link = createBrowserLink();
const services = DRIVERS.flatMap((d) => d.services.map((s) => s.uuid));
let session: Session | null = null;

const bench = {
  /** Counts and times of the readings, in pairs: less to carry than objects. */
  readings: [] as number[],
  /** False for a flood: the readings are counted and forgotten. */
  keep: true,
  count: 0,
  /** The longest that a timer of 50 ms was kept waiting beyond its time. */
  longestStallMs: 0,
  gaps: [] as Parameters<SessionHooks['onGap']>[0][],
  sentences: [] as string[],
  driverId: '',
  nowMs: () => pageClock.nowMs(),
  stop: () => session?.stop(),
};
export type SessionBench = typeof bench;

async function connect(): Promise<void> {
  await link.find({
    services: [],
    alsoUse: services,
    signal: createAbort().signal,
    onSeen: ({ id: meterId }) => {
      session = startSession({
        link,
        drivers: DRIVERS,
        meterId,
        clock: pageClock,
        random: Math.random,
        hooks: {
          onState: (state, sentence) => bench.sentences.push(`${state}: ${sentence}`),
          onMeter: ({ driverId }) => (bench.driverId = driverId),
          onReadings: (all) => {
            bench.count += all.length;
            if (bench.keep) for (const r of all) bench.readings.push(r.reading.counts, r.atMs);
          },
          onGap: (gap) => bench.gaps.push(gap),
          onBadFrame: (sentence) => bench.sentences.push(sentence),
        },
      });
    },
  });
}

let lastTickMs = pageClock.nowMs();
setInterval(() => {
  const nowMs = pageClock.nowMs();
  bench.longestStallMs = Math.max(bench.longestStallMs, nowMs - lastTickMs - 50);
  lastTickMs = nowMs;
}, 50);

(window as unknown as { bench: SessionBench }).bench = bench;
const button = document.createElement('button');
button.textContent = 'Connect a meter';
button.addEventListener('click', () => void connect());
document.body.append(button);
