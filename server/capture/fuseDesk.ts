import { estimateResolution } from '../analysis/sampling.ts';
import { measureFuseStep, SETTLE_WITHIN_S, SIDE_S, steadyDraw } from '../battery/fuseStep.ts';
import { dropFigure, sumFuseWalk } from '../battery/fuseWalk.ts';
import { NightdrawError } from '../messages/errors.ts';
import type { AddFuse, FuseLine, FuseWalk, KeptFuseWalk, WholeDraw } from '../messages/fuses.ts';
import { liveSeries } from '../samples/columns.ts';
import { newId } from '../store/ids.ts';
import type { Store } from '../store/store.ts';

const EMPTY: KeptFuseWalk = { lines: [], clampA: null };
const MOST_LINES = 200;
const MARGIN_S = 15;

type Pull = Extract<FuseLine['measured'], { way: 'pull' }>;

/** The fuse walk of a case: keeps the lines, and measures the step of each fuse that was pulled from the readings. */
export class FuseDesk {
  constructor(
    private readonly store: Store,
    /** Seconds from the start of a running recording at a time of the server's clock, or now; null: it does not run. */
    private readonly runningTimeS: (recordingId: string, nowMs?: number) => number | null,
    private readonly utcMs: () => number,
  ) {}

  /** @throws NightdrawError not-found */
  walk(caseId: string): FuseWalk {
    return sumFuseWalk(this.measured(caseId));
  }

  /** @throws NightdrawError not-found, conflict, bad-request */
  add(caseId: string, { place, measured }: AddFuse): FuseWalk {
    const kept = this.measured(caseId);
    if (kept.lines.length >= MOST_LINES)
      throw new NightdrawError('conflict', `The list holds ${MOST_LINES} fuses; take some out first.`);
    const line = { id: newId(), place, at: new Date(this.utcMs()).toISOString() };
    if (measured.way === 'drop') {
      const found = dropFigure(measured.kind, measured.rating, measured.millivolts, measured.digitMv);
      if (found === null)
        throw new NightdrawError(
          'bad-request',
          `There is no figure for a ${measured.kind} fuse of ${measured.rating} A.`,
        );
      return this.keep(caseId, { ...kept, lines: [...kept.lines, { ...line, measured, ...found }] });
    }
    const { recordingId, nowMs } = measured;
    const atS = this.timeIn(caseId, recordingId, nowMs);
    const pull: Pull = {
      way: 'pull',
      recordingId,
      atS,
      untilS: null,
      beforeA: null,
      afterA: null,
      isFinal: false,
    };
    // Whatever was out before is touched no later than now.
    const lines = kept.lines.map((l) => closed(l, recordingId, atS));
    return this.keep(caseId, {
      ...kept,
      lines: [...lines, { ...line, measured: pull, currentA: null, says: '' }],
    });
  }

  /** The fuse is in its place again: readings from here on belong to something else. @throws NightdrawError not-found */
  putBack(caseId: string, lineId: string, nowMs?: number): FuseWalk {
    const kept = this.measured(caseId);
    const line = kept.lines.find((l) => l.id === lineId);
    if (line?.measured.way !== 'pull')
      throw new NightdrawError('not-found', 'There is no such fuse in the list.');
    const { recordingId } = line.measured;
    const untilS =
      this.runningTimeS(recordingId, nowMs) ?? this.store.getRecording(recordingId).durationMs / 1000;
    return this.keep(caseId, {
      ...kept,
      lines: kept.lines.map((l) => (l === line ? closed(l, recordingId, untilS) : l)),
    });
  }

  /** @throws NightdrawError not-found */
  remove(caseId: string, lineId: string): FuseWalk {
    const kept = this.measured(caseId);
    const lines = kept.lines.filter((l) => l.id !== lineId);
    if (lines.length === kept.lines.length)
      throw new NightdrawError('not-found', 'There is no such fuse in the list.');
    return this.keep(caseId, { ...kept, lines });
  }

  /** @throws NightdrawError not-found; conflict where the draw is not steady */
  setWholeDraw(caseId: string, whole: WholeDraw): FuseWalk {
    const kept = this.measured(caseId);
    if ('clear' in whole) return this.keep(caseId, { ...kept, clampA: null });
    if ('amps' in whole) {
      const clampA = { value: whole.amps, expandedUncertainty: whole.uncertaintyA };
      return this.keep(caseId, { ...kept, clampA });
    }
    const nowS = this.timeIn(caseId, whole.recordingId);
    const { t, y, resolution } = this.current(whole.recordingId, nowS - SIDE_S - MARGIN_S, nowS);
    const clampA = steadyDraw(t, y, resolution);
    if (clampA === null)
      throw new NightdrawError(
        'conflict',
        'The draw is not steady, or its readings are too few: wait until the car sleeps.',
      );
    return this.keep(caseId, { ...kept, clampA });
  }

  /** The kept walk with the pulls measured anew that later readings may have changed. */
  private measured(caseId: string): KeptFuseWalk {
    const kept = this.store.readFuseWalk(caseId) ?? EMPTY;
    let changed = false;
    const lines = kept.lines.map((line) => {
      const next = this.remeasured(line);
      changed ||= next !== line && JSON.stringify(next) !== JSON.stringify(line);
      return next;
    });
    const walk = { ...kept, lines };
    if (changed) this.store.writeFuseWalk(caseId, walk);
    return walk;
  }

  private remeasured(line: FuseLine): FuseLine {
    const pull = line.measured;
    if (pull.way === 'drop' || pull.isFinal) return line;
    const { recordingId, atS, untilS } = pull;
    let readings: ReturnType<FuseDesk['current']>;
    let ended: boolean;
    try {
      readings = this.current(recordingId, atS - SIDE_S - MARGIN_S, atS + SETTLE_WITHIN_S + MARGIN_S);
      ended = this.store.getRecording(recordingId).state === 'stopped';
    } catch (error) {
      if (!(error instanceof NightdrawError) || error.code !== 'not-found') throw error;
      return {
        ...line,
        measured: { ...pull, isFinal: true },
        says: 'The recording of this pull was deleted.',
      };
    }
    const { t, y, resolution } = readings;
    const end = untilS ?? (ended ? (t[t.length - 1] ?? atS) : null);
    const step = measureFuseStep(t, y, resolution, atS, end);
    return {
      ...line,
      measured: { ...pull, beforeA: step.beforeA, afterA: step.afterA, isFinal: step.isFinal },
      currentA: step.stepA,
      says: step.says,
    };
  }

  /** Live readings of the fullest current channel. */
  private current(recordingId: string, fromS: number, toS: number) {
    const channel = this.store
      .getRecording(recordingId)
      .channels.filter((c) => c.quantity === 'current')
      .sort((a, b) => b.samples - a.samples)[0];
    if (channel === undefined) return { t: new Float64Array(), y: new Float64Array(), resolution: null };
    const { t, y } = liveSeries(this.store.readSamples(channel.id, fromS * 1000, toS * 1000));
    return { t, y, resolution: y.length === 0 ? null : estimateResolution(y) };
  }

  private timeIn(caseId: string, recordingId: string, nowMs?: number): number {
    if (this.store.getRecording(recordingId).caseId !== caseId)
      throw new NightdrawError('conflict', 'That recording belongs to another case.');
    const atS = this.runningTimeS(recordingId, nowMs);
    if (atS === null) throw new NightdrawError('conflict', 'The recording is not running any more.');
    return Math.max(0, atS);
  }

  private keep(caseId: string, kept: KeptFuseWalk): FuseWalk {
    this.store.writeFuseWalk(caseId, kept);
    return this.walk(caseId);
  }
}

function closed(line: FuseLine, recordingId: string, untilS: number): FuseLine {
  const pull = line.measured;
  return pull.way === 'pull' && pull.recordingId === recordingId && pull.untilS === null && pull.atS < untilS
    ? { ...line, measured: { ...pull, untilS, isFinal: false } }
    : line;
}
