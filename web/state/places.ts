import type { Findings, FlagCode } from '../../server/messages/findings.ts';
import { windowAround, type TimeWindow } from './window.ts';

/** Where on the chart a flag can be seen; null where it is not about a place in this recording. */
export function placeOfFlag(code: FlagCode, f: Findings, whole: TimeWindow): TimeWindow | null {
  const sleptAt = f.sleep.timeToSleepS ?? whole.fromS;
  const afterSleep = { fromS: Math.min(sleptAt, whole.toS - 1), toS: whole.toS };
  const regimes = f.polling.regimes;
  switch (code) {
    case 'battery-unreliable-zone':
    case 'days-until-unreliable':
      return windowAround(Math.max(whole.fromS, whole.toS - 2 * 3600), whole.toS, whole);
    case 'draw-above-limit':
    case 'draw-near-limit':
      return afterSleep;
    case 'never-slept':
    case 'clamp-reversed':
    case 'charger-connected':
      return whole;
    case 'keeps-waking': {
      const first = f.wakeUps[0];
      const last = f.wakeUps[Math.min(f.wakeUps.length, 4) - 1];
      return first === undefined || last === undefined
        ? null
        : windowAround(first.startS, last.startS + last.durationS, whole);
    }
    case 'polling-does-not-stretch':
    case 'fob-probably-in-range': {
      const last = regimes[regimes.length - 1];
      const first = regimes[0];
      return first === undefined || last === undefined ? null : windowAround(first.startS, last.endS, whole);
    }
    case 'polling-stretched-normal': {
      const second = regimes[1];
      return second === undefined ? null : windowAround(second.startS - 30, second.startS + 30, whole);
    }
    case 'polling-stopped-normal':
      return f.polling.stoppedAtS === null
        ? null
        : windowAround(f.polling.stoppedAtS - 30, f.polling.stoppedAtS + 30, whole);
    case 'surface-charge-present':
      return windowAround(whole.fromS, Math.min(whole.toS, whole.fromS + 2 * 3600), whole);
    case 'gaps-in-recording': {
      const gap = f.recording.channels.flatMap((c) => c.gaps).sort((a, b) => a.startS - b.startS)[0];
      return gap === undefined ? null : windowAround(gap.startS, gap.endS, whole);
    }
    case 'clock-stepped': {
      const step = f.recording.clockSteps[0];
      return step === undefined ? null : windowAround(step.atS, step.atS, whole);
    }
    case 'recording-too-short':
    case 'meter-too-slow':
    case 'zero-not-checked':
    case 'accuracy-not-stated':
    case 'no-current-channel':
    case 'no-voltage-channel':
      return null;
  }
}

/** Where a sentence's moment can be seen: a few minutes around it, or a second or two for polling. */
export function placeOfMoment(atS: number, topic: string, f: Findings, whole: TimeWindow): TimeWindow {
  if (topic === 'polling') {
    const regime = f.polling.regimes.find((r) => r.startS === atS);
    const period = regime?.periodS?.value ?? 1;
    return windowAround(atS, Math.min(atS + period * 12, regime?.endS ?? whole.toS), whole, period * 12);
  }
  if (topic === 'wake-ups') {
    const wake = f.wakeUps.find((w) => w.startS === atS);
    return windowAround(atS, atS + (wake?.durationS ?? 0), whole);
  }
  return windowAround(atS, atS, whole, 600);
}

/** The stretch in which the car sleeps, where it is a part of the whole worth showing alone. */
export function asleepWindow(f: Findings, whole: TimeWindow): TimeWindow | null {
  const at = f.sleep.timeToSleepS;
  if (f.sleep.state !== 'slept' || at === null || at <= whole.fromS || at >= whole.toS - 1) return null;
  return { fromS: at, toS: whole.toS };
}
