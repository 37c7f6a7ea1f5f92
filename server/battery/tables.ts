/**
 * Open-circuit (rest) voltage against state of charge of 12 V lead-acid batteries, as published tables give
 * it. Tables disagree by up to a fifth of the charge, so every figure names its table and carries the spread.
 */

export type Chemistry = 'flooded' | 'efb' | 'agm' | 'gel';

export interface OcvTable {
  readonly id: 'A' | 'B-flooded' | 'B-gel' | 'B-agm' | 'C' | 'D';
  readonly name: string;
  readonly chemistry: 'flooded' | 'agm' | 'gel';
  readonly source: string;
  /** [state of charge 0..1, volts], rising. */
  readonly points: readonly (readonly [number, number])[];
}

export const OCV_TABLES: readonly OcvTable[] = [
  {
    id: 'A',
    name: 'flooded, table A',
    chemistry: 'flooded',
    source: 'Published table quoting BCI, flooded, 26.7 °C, after 24 h of rest',
    points: [
      [0, 11.89],
      [0.25, 12.06],
      [0.5, 12.24],
      [0.75, 12.45],
      [1, 12.65],
    ],
  },
  {
    id: 'B-flooded',
    name: 'flooded, table B',
    chemistry: 'flooded',
    source: 'Published maker-neutral table, flooded, 24 h of rest; full is printed as 12.60 to 12.80 V',
    points: [
      [0, 11.8],
      [0.25, 12.0],
      [0.5, 12.2],
      [0.75, 12.4],
      [1, 12.7],
    ],
  },
  {
    id: 'B-gel',
    name: 'gel, table B',
    chemistry: 'gel',
    source: 'Published maker-neutral table, gel, 24 h of rest; full is printed as 12.85 to 12.95 V',
    points: [
      [0, 11.8],
      [0.25, 12.0],
      [0.5, 12.35],
      [0.75, 12.65],
      [1, 12.9],
    ],
  },
  {
    id: 'B-agm',
    name: 'AGM, table B',
    chemistry: 'agm',
    source: 'Published maker-neutral table, AGM, 24 h of rest; full is printed as 12.80 to 12.90 V',
    points: [
      [0, 11.8],
      [0.25, 12.0],
      [0.5, 12.3],
      [0.75, 12.6],
      [1, 12.85],
    ],
  },
  {
    id: 'C',
    name: 'flooded, table C',
    chemistry: 'flooded',
    source: 'Published table, flooded, 25 °C, 3 h of rest or more',
    points: [
      [0, 11.6],
      [0.2, 11.7],
      [0.3, 11.8],
      [0.5, 12.1],
      [0.7, 12.3],
      [0.8, 12.5],
      [1, 12.7],
    ],
  },
  {
    id: 'D',
    name: 'AGM, table D',
    chemistry: 'agm',
    source: 'US Army figures for AGM after 8 h of rest: 11.4 V empty, 12.9 V full, linear between',
    points: [
      [0, 11.4],
      [1, 12.9],
    ],
  },
];

/** The table that is used for a battery; enhanced flooded batteries have none of their own and use flooded. */
export function tableFor(chemistry: Chemistry | undefined): OcvTable {
  const id = chemistry === 'agm' ? 'B-agm' : chemistry === 'gel' ? 'B-gel' : 'A';
  return OCV_TABLES.find((t) => t.id === id)!;
}

/** Tables whose disagreement stands for not knowing which one is right for this battery. */
export function rivalsOf(chemistry: Chemistry | undefined): readonly OcvTable[] {
  if (chemistry === undefined) return OCV_TABLES;
  const kin = chemistry === 'efb' ? 'flooded' : chemistry;
  // One gel table alone would claim to be certain; the AGM tables are its nearest relatives.
  return OCV_TABLES.filter((t) => t.chemistry === kin || (kin === 'gel' && t.chemistry === 'agm'));
}

/** State of charge 0..1 at a rest voltage, linear between the table's points and held at its ends. */
export function stateOfChargeAt(table: OcvTable, volts: number): number {
  const p = table.points;
  if (volts <= p[0]![1]) return p[0]![0];
  for (let i = 1; i < p.length; i++) {
    const [s1, v1] = p[i]!;
    if (volts > v1) continue;
    const [s0, v0] = p[i - 1]!;
    return s0 + ((s1 - s0) * (volts - v0)) / (v1 - v0);
  }
  return p[p.length - 1]![0];
}

/** Rest voltage at a state of charge 0..1. */
export function voltageAt(table: OcvTable, stateOfCharge: number): number {
  const p = table.points;
  const s = Math.min(1, Math.max(0, stateOfCharge));
  for (let i = 1; i < p.length; i++) {
    const [s1, v1] = p[i]!;
    if (s > s1) continue;
    const [s0, v0] = p[i - 1]!;
    return v0 + ((v1 - v0) * (s - s0)) / (s1 - s0);
  }
  return p[p.length - 1]![1];
}
