import { describe, expect, test } from 'vitest';
import type { SessionReading } from '../../../drivers/session/types.ts';
import { batchSchema } from '../../../server/messages/socket.ts';
import { PendingReadings, type BatchBody } from '../../../web/sync/batchCut.ts';

const reading = (key: string, atMs: number, counts = Math.round(atMs)): SessionReading => ({
  key,
  atMs,
  reading: { quantity: 'voltage', counts, scale: -3, flags: 0 },
});
const pending = (...keys: string[]): PendingReadings => new PendingReadings(new Set(keys), 0);
const asIs = (ms: number): number => ms;

/** Every batch must pass the schema that the server parses it with. */
function sendable(bodies: readonly BatchBody[]): readonly BatchBody[] {
  for (const body of bodies)
    batchSchema.parse({ recordingId: 'abcd', meterKey: 'page:m', number: 1, ...body });
  return bodies;
}

describe('when a batch is due', () => {
  test('every half second as readings arrive, sooner only in a flood', () => {
    const p = pending('v');
    expect(p.due(10_000, false)).toBe(false); // nothing to send
    p.add([reading('v', 499)]);
    expect(p.due(499, false)).toBe(false);
    expect(p.due(500, false)).toBe(true);
    expect(p.due(1999, true)).toBe(false); // many wait already: fewer and larger ones
    expect(p.due(2000, true)).toBe(true);
    p.cut(500, asIs);
    p.add(Array.from({ length: 4000 }, (_, i) => reading('v', 500 + i / 100)));
    expect(p.due(540, true)).toBe(true);
  });

  test('a slow meter does not wait for its next reading', () => {
    const p = pending('v');
    p.add([reading('v', 30_000)]);
    expect(p.due(30_000, true)).toBe(true);
  });
});

describe('what a batch holds', () => {
  test('columns of each channel in order, foreign channels left out', () => {
    const p = pending('v', 'i');
    p.add([reading('v', 1), reading('i', 1), reading('x', 1)]);
    p.add([reading('v', 2)]);
    expect(sendable(p.cut(3, (ms) => ms + 10))).toEqual([
      {
        parts: [
          { key: 'v', samples: { t: [11, 12], counts: [1, 2], scale: [-3, -3], flags: [0, 0] } },
          { key: 'i', samples: { t: [11], counts: [1], scale: [-3], flags: [0] } },
        ],
        gaps: [],
        events: [],
      },
    ]);
    expect(p.empty).toBe(true);
    expect(p.cut(4, asIs)).toEqual([]);
  });

  test('a flood makes several batches, none too large for the wire, nothing lost', () => {
    const p = pending('v');
    p.add(Array.from({ length: 25_000 }, (_, i) => reading('v', i, i)));
    const bodies = sendable(p.cut(25_000, asIs));
    expect(bodies.length).toBeGreaterThan(1);
    const counts = bodies.flatMap((b) => b.parts.flatMap((part) => part.samples.counts));
    expect(counts).toEqual(Array.from({ length: 25_000 }, (_, i) => i));
  });

  test('what lies before the start or after the end is not of the recording', () => {
    const p = pending('v');
    p.add([reading('v', 90), reading('v', 100), reading('v', 200), reading('v', 201)]);
    p.gap(50, 150, 'dropped');
    p.event(250, 'meter-dropped', 'after the end');
    const [body] = sendable(p.cut(300, (ms) => ms - 100, 100));
    expect(body!.parts[0]!.samples.t).toEqual([0, 100]);
    expect(body!.gaps).toEqual([{ key: 'v', startMs: 0, endMs: 50, reason: 'dropped' }]);
    expect(body!.events).toEqual([]);
  });

  test('more gaps and events than one batch may carry go into further ones', () => {
    const p = pending('v');
    for (let i = 0; i < 150; i++) p.gap(i * 10, i * 10 + 5, 'silent');
    for (let i = 0; i < 70; i++) p.event(i, 'bad-frame', 'x'.repeat(900));
    const bodies = sendable(p.cut(2000, asIs));
    expect(bodies.flatMap((b) => b.gaps)).toHaveLength(150);
    expect(bodies.flatMap((b) => b.events)).toHaveLength(70);
  });
});

describe('time in a batch', () => {
  test('clocks matched anew never make two readings change places', () => {
    const p = pending('v');
    p.add([reading('v', 1000)]);
    p.cut(1000, asIs);
    p.add([reading('v', 1002), reading('v', 1020)]);
    const [body] = p.cut(1020, (ms) => ms - 5);
    expect(body!.parts[0]!.samples.t).toEqual([1000, 1015]);
  });

  test('a page clock that stood still leaves a gap', () => {
    const p = pending('v');
    p.add([reading('v', 1000), reading('v', 1100)]);
    const [body] = p.cut(1100, (ms) => (ms < 1050 ? ms : ms + 3_600_000));
    expect(body!.gaps).toEqual([{ key: 'v', startMs: 1000, endMs: 3_601_100, reason: 'unknown' }]);
  });

  test('a reload leaves a gap from where the earlier page stopped to the first reading', () => {
    const p = pending('v', 'i');
    p.resumeFrom(40_000);
    p.add([reading('v', 48_000)]);
    const [body] = p.cut(48_000, asIs);
    expect(body!.gaps).toEqual([
      { key: 'v', startMs: 40_000, endMs: 48_000, reason: 'dropped' },
      { key: 'i', startMs: 40_000, endMs: 48_000, reason: 'dropped' },
    ]);
    p.add([reading('v', 49_000)]);
    expect(p.cut(49_000, asIs)[0]!.gaps).toEqual([]);
  });
});
