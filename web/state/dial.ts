import type { Quantity } from '../../drivers/core/reading.ts';
import { stretched } from './axis.ts';

/** A graduated rule with a needle: where each figure of the product is placed among what is usual. */
export interface DialScale {
  readonly quantity: 'voltage' | 'current';
  /** Place of a value on the rule, 0 (left end) to 1; outside it is clamped and `beyond` says so. */
  place(value: number): number;
  beyond(value: number): -1 | 0 | 1;
  readonly ticks: readonly { readonly at: number; readonly label: string | null }[];
}

const VOLT_FROM = 10;
const VOLT_TO = 15;

function voltageDial(): DialScale {
  const place = (v: number): number => clamp((v - VOLT_FROM) / (VOLT_TO - VOLT_FROM));
  const ticks = [];
  for (let k = 0; k <= 50; k++) {
    const v = VOLT_FROM + k / 10;
    ticks.push({ at: place(v), label: k % 10 === 0 ? String(v) : k % 5 === 0 ? '' : null });
  }
  return {
    quantity: 'voltage',
    place,
    ticks,
    beyond: (v) => (v < VOLT_FROM ? -1 : v > VOLT_TO ? 1 : 0),
  };
}

const CURRENT_TO = 30;
const LABELLED: readonly (readonly [number, string])[] = [
  [0, ''],
  [0.01, '10 mA'],
  [0.1, '100 mA'],
  [1, '1 A'],
  [10, '10 A'],
];

function currentDial(): DialScale {
  const full = stretched(CURRENT_TO);
  const place = (a: number): number => clamp(stretched(a) / full);
  const ticks: { at: number; label: string | null }[] = LABELLED.map(([a, label]) => ({
    at: place(a),
    label,
  }));
  for (const decade of [0.01, 0.1, 1, 10])
    for (let m = 2; m <= 9; m++)
      if (m * decade <= CURRENT_TO) ticks.push({ at: place(m * decade), label: m === 5 ? '' : null });
  return {
    quantity: 'current',
    place,
    ticks: ticks.sort((a, b) => a.at - b.at),
    beyond: (a) => (a < -0.0005 ? -1 : a > CURRENT_TO ? 1 : 0),
  };
}

function clamp(x: number): number {
  return Math.min(1, Math.max(0, x));
}

const DIALS = { voltage: voltageDial(), current: currentDial() } as const;

/** The dial of a quantity; temperatures have none. */
export function dialOf(quantity: Quantity): DialScale | null {
  return quantity === 'temperature' ? null : DIALS[quantity];
}
