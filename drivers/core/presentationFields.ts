import type { Quantity } from './reading.ts';

/** Format codes of the Characteristic Presentation Format descriptor (0x2904; SIG Assigned Numbers). */
export type NumberFormat =
  | { readonly kind: 'integer'; readonly octets: number; readonly signed: boolean }
  | { readonly kind: 'float32' | 'float64' | 'sfloat' | 'float'; readonly octets: number };

const unsigned = (octets: number): NumberFormat => ({ kind: 'integer', octets, signed: false });
const signed = (octets: number): NumberFormat => ({ kind: 'integer', octets, signed: true });

export const FORMATS: ReadonlyMap<number, NumberFormat> = new Map([
  [4, unsigned(1)],
  [6, unsigned(2)],
  [7, unsigned(3)],
  [8, unsigned(4)],
  [9, unsigned(6)],
  [10, unsigned(8)],
  [12, signed(1)],
  [14, signed(2)],
  [15, signed(3)],
  [16, signed(4)],
  [17, signed(6)],
  [18, signed(8)],
  [20, { kind: 'float32', octets: 4 }],
  [21, { kind: 'float64', octets: 8 }],
  [22, { kind: 'sfloat', octets: 2 }],
  [23, { kind: 'float', octets: 4 }],
]);

/** Units that a channel of ours can have (SIG Assigned Numbers, units). */
export const UNITS: ReadonlyMap<number, { readonly quantity: Quantity; readonly label: string }> = new Map([
  [0x2704, { quantity: 'current', label: 'Current' }],
  [0x2728, { quantity: 'voltage', label: 'Voltage' }],
]);
