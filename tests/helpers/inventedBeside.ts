import type { Block, MeterState } from './inventedValue.ts';

/** What else an invented meter sends; most send nothing. */
export const BESIDE = [
  'none',
  'none',
  'none',
  'counter',
  'random',
  'bar',
  'time',
  'copy',
  'largest',
] as const;

/** Octets that change for reasons of their own. */
export function besideBlocks(
  noise: (typeof BESIDE)[number],
  int: (low: number, high: number) => number,
  top: number,
  shown: (s: MeterState) => number,
): Block[] {
  const out: Block[] = [];
  let counter = int(0, 255);
  if (noise === 'counter')
    out.push({ size: 1, write: (frame, at) => (frame[at] = counter = (counter + int(1, 40)) & 255) });
  if (noise === 'random') out.push({ size: 1, write: (frame, at) => (frame[at] = int(0, 255)) });
  if (noise === 'bar') {
    out.push({ size: 1, write: (frame, at, s) => (frame[at] = Math.floor((Math.abs(shown(s)) / top) * 40)) });
  }
  let time = int(0, 60_000);
  if (noise === 'time') {
    out.push({
      size: 3,
      write: (frame, at) => {
        time += int(2000, 20_000);
        frame.set([time & 255, (time >> 8) & 255, (time >> 16) & 255], at);
      },
    });
  }
  let largest = -Infinity;
  if (noise === 'copy' || noise === 'largest') {
    out.push({
      size: 4,
      write: (frame, at, s) => {
        largest = noise === 'copy' ? s.raw : Math.max(largest, s.raw);
        new DataView(frame.buffer).setInt32(at, largest);
      },
    });
  }
  return out;
}
