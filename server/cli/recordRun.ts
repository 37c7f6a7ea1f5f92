import type { Clock } from '../../drivers/core/clock.ts';
import type { Hub } from '../capture/hub.ts';
import { NightdrawError } from '../messages/errors.ts';
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
  readonly zeroSeconds: number | null;
  readonly zeroPause: number;
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
    await zeroBefore(run);
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
    const stopped = hub.stopRecording(id);
    await zeroAfter(run, id);
    return stopped;
  } finally {
    stopNotices();
  }
}

/** The check waits in the hub for the recording that begins next. */
async function zeroBefore(run: RecordRun): Promise<void> {
  if (run.zeroSeconds === null || run.context.signal.aborted) return;
  await checkAll(run, null);
  await pauseFor(run, 'Now close the clamp around the lead; recording begins');
}

async function zeroAfter(run: RecordRun, id: string): Promise<void> {
  if (run.zeroSeconds === null) return;
  await pauseFor(run, 'Take the clamp off and close it on nothing; the zero check begins');
  await checkAll(run, id);
}

/** A check that fails is said; it does not cost the recording. */
async function checkAll({ context, hub, keys, zeroSeconds }: RecordRun, recordingId: string | null) {
  context.stderr(`Zero check for ${zeroSeconds} s: clamp closed on nothing.\n`);
  const asked = keys.map((key) => hub.checkZero(key, { seconds: zeroSeconds!, recordingId }));
  for (const outcome of await Promise.allSettled(asked)) {
    if (outcome.status === 'rejected') {
      if (!(outcome.reason instanceof NightdrawError)) throw outcome.reason;
      context.stderr(`${outcome.reason.message}\n`);
      continue;
    }
    for (const { quantity, mean, scatter, readings } of outcome.value)
      context.stderr(
        `Zero of ${quantity}: ${mean.toPrecision(3)}, scatter ${scatter.toPrecision(2)}, ${readings} readings.\n`,
      );
  }
}

async function pauseFor({ context, clock, pace, zeroPause }: RecordRun, what: string): Promise<void> {
  if (zeroPause === 0) return;
  context.stderr(`${what} in ${zeroPause} s.\n`);
  await pace.pass(clock.nowMs() + zeroPause * 1000, () => false);
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
