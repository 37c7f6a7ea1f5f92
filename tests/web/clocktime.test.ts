import { describe, expect, it } from 'vitest';
import {
  clockText,
  dateText,
  dayText,
  elapsedText,
  lengthText,
  tickText,
  timeTicks,
} from '../../web/state/clocktime.ts';

const london = { startedAt: '2025-03-04T22:41:07.000Z', zone: 'Europe/London' };
const tokyo = { startedAt: '2025-03-04T22:41:07.000Z', zone: 'Asia/Tokyo' };
const kolkata = { startedAt: '2025-03-04T22:41:07.000Z', zone: 'Asia/Kolkata' };
const undated = { startedAt: null, zone: null };

it("shows the car's clock", () => {
  expect(clockText(london, 0)).toBe('22:41');
  expect(clockText(tokyo, 0, 'seconds')).toBe('07:41:07');
  expect(clockText(london, 0.25, 'tenths')).toBe('22:41:07.2');
  expect(clockText(london, 3600 * 2, 'minutes')).toBe('00:41');
});

it('shows the time since the start where no clock is known', () => {
  expect(clockText(undated, 3 * 3600 + 7 * 60 + 15, 'seconds')).toBe('3:07:15');
  expect(elapsedText(65)).toBe('0:01');
  expect(elapsedText(-5, 'seconds')).toBe('-0:00:05');
  expect(elapsedText(59.96, 'tenths')).toBe('0:01:00.0');
});

it('names the day and says when the clock is UTC', () => {
  expect(dateText(london)).toBe('Tue 4 Mar 2025, 22:41');
  expect(dateText({ ...london, zone: null })).toBe('Tue 4 Mar 2025, 22:41 UTC');
  expect(dateText(undated)).toBe('no date');
  expect(dayText(london, 3 * 3600)).toBe('Wed 5 Mar');
  expect(dayText(undated, 90_000)).toBe('day 2');
});

it('falls back to UTC for a zone that this engine does not know', () => {
  expect(clockText({ ...london, zone: 'Nowhere/Else' }, 0)).toBe('22:41');
});

describe('marks of the time axis', () => {
  it("stand on round times of the car's clock", () => {
    const ticks = timeTicks(london, 0, 8 * 3600, 10);
    expect(ticks.map((t) => clockText(london, t, 'seconds'))).toEqual(
      ['23', '00', '01', '02', '03', '04', '05', '06'].map((h) => `${h}:00:00`),
    );
  });

  it('stand on round times in a zone of half hours', () => {
    const ticks = timeTicks(kolkata, 0, 8 * 3600, 10);
    for (const t of ticks) expect(clockText(kolkata, t, 'seconds')).toMatch(/:00:00$/);
  });

  it.each([0.8, 5, 60, 3600, 86_400, 30 * 86_400])('are few and inside for a window of %d s', (span) => {
    const ticks = timeTicks(london, 100, 100 + span, 7);
    expect(ticks.length).toBeGreaterThan(0);
    expect(ticks.length).toBeLessThanOrEqual(8);
    for (const t of ticks) {
      expect(t).toBeGreaterThanOrEqual(100 - 1e-6);
      expect(t).toBeLessThanOrEqual(100 + span + 1e-6);
    }
  });

  it('name midnight by its day', () => {
    const midnight = 3600 + 18 * 60 + 53;
    expect(tickText(london, midnight, 3600)).toBe('Wed 5 Mar');
    expect(tickText(london, midnight + 3600, 3600)).toBe('01:00');
    expect(tickText(london, midnight + 0.5, 0.5)).toBe('00:00:00.5');
  });

  it('are none for an empty window', () => {
    expect(timeTicks(london, 5, 5, 10)).toEqual([]);
  });
});

it('says how long a recording is', () => {
  expect(lengthText(0)).toBe('empty');
  expect(lengthText(3 * 3_600_000)).toBe('3 h');
});
