import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { WaitingSamples } from '../../server/capture/waiting.ts';

describe('samples that wait', () => {
  it('come out as they went in, channel by channel, however they arrive', () => {
    fc.assert(
      fc.property(
        fc.array(fc.record({ channel: fc.integer({ min: 1, max: 3 }), counts: fc.integer() }), {
          maxLength: 200,
        }),
        (samples) => {
          const waiting = new WaitingSamples(1_000_000);
          // Repeated so that the order holds over group borders too.
          const all = Array.from({ length: 60 }, () => samples).flat();
          all.forEach(({ channel, counts }, i) => waiting.add(channel, i, counts, -2, i % 5));
          const out = new Map<number, number[][]>();
          while (waiting.length > 0) {
            for (const { channelId, columns } of waiting.oldest())
              for (let i = 0; i < columns.length; i++) {
                const rows = out.get(channelId) ?? [];
                out.set(channelId, rows);
                rows.push([columns.t[i]!, columns.counts[i]!, columns.scale[i]!, columns.flags[i]!]);
              }
            waiting.removeOldest();
          }
          for (const channel of [1, 2, 3]) {
            const expected = all.flatMap((s, i) => (s.channel === channel ? [[i, s.counts, -2, i % 5]] : []));
            expect(out.get(channel) ?? []).toEqual(expected);
          }
        },
      ),
      { numRuns: 30 },
    );
  });

  it('push out the oldest when there are too many, and say which', () => {
    const waiting = new WaitingSamples(10_000);
    const lost = [];
    for (let i = 0; i < 12_000; i++) lost.push(...waiting.add(1 + (i % 2), i, i, 0, 0));
    expect(waiting.length).toBeLessThanOrEqual(10_000);
    const gone = lost.reduce((sum, span) => sum + span.samples, 0);
    expect(gone + waiting.length).toBe(12_000);
    expect(lost).toEqual([
      { channelId: 1, startMs: 0, endMs: gone - 2, samples: gone / 2 },
      { channelId: 2, startMs: 1, endMs: gone - 1, samples: gone / 2 },
    ]);
    expect(waiting.oldest()[0]!.columns.t[0]).toBe(gone);
  });
});
