import type { Clock } from '../../drivers/core/clock.ts';
import type { Hub } from '../capture/hub.ts';
import type { Meter } from '../messages/meters.ts';
import type { Recording } from '../messages/records.ts';
import type { CommandContext } from './command.ts';
import type { Pace } from './pace.ts';
import { showProgress } from './recordProgress.ts';

/** A meter that has not answered by then is not there. */
const CONNECT_MS = 60_000;

export interface RecordRun {
  readonly context: CommandContext;
  readonly hub: Hub;
  readonly clock: Clock;
  readonly pace: Pace;
  readonly keys: readonly string[];
  readonly title: string;
  readonly caseId: string | null;
  /** Null: until it is interrupted. */
  readonly seconds: number | null;
}

/** Connects the meters, records them and stops; null where a meter could not be reached, which is then said. */
export async function runRecording(run: RecordRun): Promise<Recording | null> {
  const { context, hub, clock, pace, keys } = run;
  const stopNotices = hub.listen({ onNotice: ({ text }) => context.stderr(`${text}\n`) });
  try {
    for (const key of keys) hub.connect(key);
    await pace.pass(clock.nowMs() + CONNECT_MS, () => context.signal.aborted || isSettled(hub, keys));
    const missing = metersOf(hub, keys).filter((m) => m.state !== 'connected');
    if (missing.length > 0) {
      context.stderr(`${whyMissing(hub, missing)}\n`);
      return null;
    }
    const { id } = hub.startRecording({
      caseId: run.caseId,
      kind: 'overnight-test',
      title: run.title,
      zone: Intl.DateTimeFormat().resolvedOptions().timeZone,
      meters: [...keys],
    });
    const stopProgress = context.isTerminal ? showProgress({ ...run, id }) : () => undefined;
    const endMs = run.seconds === null ? Infinity : clock.nowMs() + run.seconds * 1000;
    await pace.pass(endMs, () => context.signal.aborted);
    stopProgress();
    return hub.stopRecording(id);
  } finally {
    stopNotices();
  }
}

function isSettled(hub: Hub, keys: readonly string[]): boolean {
  const meters = metersOf(hub, keys);
  return (
    meters.every((m) => m.state === 'connected') ||
    meters.some((m) => m.state === 'failed') ||
    hub.bluetooth().state === 'unavailable'
  );
}

function metersOf(hub: Hub, keys: readonly string[]): Meter[] {
  return hub.meters().filter((m) => keys.includes(m.key));
}

function whyMissing(hub: Hub, missing: readonly Meter[]): string {
  const radio = hub.bluetooth();
  if (radio.state === 'unavailable') return radio.sentence;
  const { name, sentence } = missing.find((m) => m.state === 'failed') ?? missing[0]!;
  return `${name} could not be connected. ${sentence}`.trim();
}
