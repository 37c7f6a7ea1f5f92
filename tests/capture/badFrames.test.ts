import { describe, expect, it } from 'vitest';
import { BadFrames } from '../../server/capture/badFrames.ts';

describe('refused frames', () => {
  it('make one event at once and then one for each pause, with their number', () => {
    const frames = new BadFrames(10_000);
    const told = [];
    for (let i = 0; i < 250; i++) {
      const text = frames.see('Too short.', i * 100);
      if (text !== null) told.push([i * 100, text]);
    }
    expect(told).toEqual([
      [0, 'Too short.'],
      [10_000, 'Too short. (and 99 more refused before it)'],
      [20_000, 'Too short. (and 99 more refused before it)'],
    ]);
    expect(frames.rest()).toBe('Too short. (and 48 more refused before it)');
    expect(frames.rest()).toBeNull();
  });

  it('have nothing left to tell after a single one', () => {
    const frames = new BadFrames();
    expect(frames.see('Too short.', 0)).toBe('Too short.');
    expect(frames.rest()).toBeNull();
  });
});
