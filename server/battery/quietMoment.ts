import { quantile } from '../analysis/statistics.ts';
import type { Series } from '../samples/columns.ts';

/** Slots of this length are compared: long enough to hold several pulses of a search for a fob. */
const SLOT_S = 20;
const LEAST_READINGS = 4;

/**
 * A moment among the readings of a channel at which little goes on: between two that are both usual for the slot
 * around them, in the slot that draws least; null where there are too few.
 */
export function quietMoment(series: Series): number | null {
  const slots = new Map<number, { t: number[]; y: number[] }>();
  series.t.forEach((t, i) => {
    const key = Math.floor(t / SLOT_S);
    const slot = slots.get(key) ?? { t: [], y: [] };
    if (slot.t.length === 0) slots.set(key, slot);
    slot.t.push(t);
    slot.y.push(series.y[i]!);
  });
  const measured = [...slots.values()]
    .filter((slot) => slot.t.length >= LEAST_READINGS)
    .map((slot) => ({ ...slot, middle: quantile(slot.y, 0.5) }));
  if (measured.length === 0) return null;
  const { t, y, middle } = measured.reduce((a, b) => (Math.abs(b.middle) < Math.abs(a.middle) ? b : a));
  const off = (i: number): number => Math.abs(y[i]! - middle) + Math.abs(y[i - 1]! - middle);
  let quietest = 1;
  for (let i = 2; i < t.length; i++) if (off(i) < off(quietest)) quietest = i;
  return (t[quietest - 1]! + t[quietest]!) / 2;
}
