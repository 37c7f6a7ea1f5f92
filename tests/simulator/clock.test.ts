import { describe, expect, it } from 'vitest';
import { SimClock } from '../../server/simulator/clock.ts';

const START = Date.UTC(2024, 10, 5, 21, 0);

describe('SimClock', () => {
  it('runs timers in order of time, equal times in the order set', () => {
    const clock = new SimClock(START);
    const ran: string[] = [];
    clock.after(20, () => ran.push('late'));
    clock.after(10, () => ran.push('first'));
    clock.after(10, () => ran.push('second'));
    expect(clock.nextAt()).toBe(10);
    clock.advanceTo(15);
    expect(ran).toEqual(['first', 'second']);
    clock.advanceTo(20);
    expect(ran).toEqual(['first', 'second', 'late']);
    expect(clock.nextAt()).toBeNull();
  });

  it('shows each timer its own time, and runs what timers set on the way', () => {
    const clock = new SimClock(START, 1000);
    const seen: number[] = [];
    const tick = () => {
      seen.push(clock.nowMs());
      if (seen.length < 4) clock.after(2.5, tick);
    };
    clock.after(0, tick);
    clock.advanceTo(1006);
    expect(seen).toEqual([1000, 1002.5, 1005]);
    expect(clock.nowMs()).toBe(1006);
    clock.advanceTo(2000);
    expect(seen.at(-1)).toBe(1007.5);
  });

  it('forgets cancelled timers, even one that is due together with its canceller', () => {
    const clock = new SimClock(START);
    const ran: string[] = [];
    const cancels: (() => void)[] = [];
    clock.after(5, () => cancels.forEach((cancel) => cancel()));
    cancels.push(clock.after(5, () => ran.push('cancelled')));
    clock.after(5, () => ran.push('kept'));
    clock.advanceTo(5);
    cancels[0]!();
    expect(ran).toEqual(['kept']);
  });

  it('never goes back, and its wall clock follows', () => {
    const clock = new SimClock(START, 500);
    expect(clock.utcMs()).toBe(START);
    clock.advanceTo(3500);
    clock.advanceTo(100);
    expect(clock.nowMs()).toBe(3500);
    expect(clock.utcMs()).toBe(START + 3000);
  });
});
