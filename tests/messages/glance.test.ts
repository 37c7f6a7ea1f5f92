import { describe, expect, it } from 'vitest';
import { findNight } from '../../server/battery/findings.ts';
import type { Findings } from '../../server/messages/findings.ts';
import { glanceOf, hourText } from '../../server/messages/glance.ts';

const EMPTY = findNight({
  startedAt: '2026-01-05T21:00:00.000Z',
  durationS: 7200,
  channels: [],
  clockSteps: [],
});
const estimate = (value: number) => ({ value, expandedUncertainty: value / 50 });
const REGIME = {
  startS: 0, endS: 5000, periodS: estimate(0.7604), widthS: null, amplitudeA: null, chargePerPulseC: null, pulses: 900, averageA: null,
} as const; // prettier-ignore
const current: Findings['recording']['channels'][number] = {
  quantity: 'current',
  unit: 'A',
  samples: 900,
  medianIntervalS: 1,
  resolution: 0.001,
  noise: 0.001,
  gaps: [],
};

const night = (over: Partial<Findings>): Findings => ({
  ...EMPTY,
  recording: { ...EMPTY.recording, channels: [current] },
  ...over,
});
const asleep: Findings['sleep'] = { ...EMPTY.sleep, state: 'slept', timeToSleepS: 2460 };
const draw: Findings['draw'] = {
  ...EMPTY.draw,
  averageAfterSleepA: estimate(0.0312),
  averageLastHourA: estimate(0.24),
};
const wake = { startS: 4000, durationS: 40, peakA: 0.2, chargeC: 8 };

describe('a night in one sentence', () => {
  it('says since when it sleeps, what it draws and how it polls', () => {
    const f = night({
      sleep: asleep,
      draw,
      polling: { ...EMPTY.polling, state: 'resolved', regimes: [REGIME] },
    });
    expect(glanceOf(f, 'Europe/Berlin')).toBe('Asleep since 22:41, 31 mA, polling every 0.76 s.');
    expect(glanceOf({ ...f, wakeUps: [wake, wake, wake] }, 'UTC')).toBe(
      'Asleep since 21:41, 31 mA, polling every 0.76 s, woke 3 times.',
    );
  });

  it('says what keeps it from sleeping, or that nothing can be said', () => {
    expect(glanceOf(night({ sleep: { ...EMPTY.sleep, state: 'never-slept' }, draw }), null)).toBe(
      'Still awake after 2 h, 240 mA.',
    );
    expect(glanceOf(night({ draw }), null)).toBe('Not settled yet after 2 h, 240 mA.');
    expect(glanceOf(EMPTY, null)).toBe('No current is recorded, so sleep cannot be told.');
    const battery = { ...EMPTY.battery, restVoltageV: estimate(12.4) };
    expect(glanceOf({ ...EMPTY, battery }, null)).toMatch(/, rest voltage 12\.40 V\.$/);
  });

  it('without a start tells the time from it', () => {
    const f = night({ sleep: asleep, draw, polling: { ...EMPTY.polling, state: 'stopped' } });
    const unknown = { ...f, recording: { ...f.recording, startedAt: null } };
    expect(glanceOf(unknown, null)).toBe('Asleep since 41 min after the start, 31 mA, polling stopped.');
  });

  it('reads an unknown zone as UTC', () => {
    expect(hourText('2026-01-05T21:00:00.000Z', 3600, 'Mars/Olympus')).toBe('22:00 UTC');
  });
});
