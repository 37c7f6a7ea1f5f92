import type { Quantity } from '../../core/reading.ts';

/**
 * Electrical characteristics of the Bluetooth SIG (GATT Specification Supplement). A value is
 * `raw` x `multiplier` x 10^`scale`; 1/64 V is 15625 x 10^-6 V exactly, so no digit is lost in decimal.
 * The supplement prints b = +6 for High Voltage; its own resolution and range need b = -6.
 */
export interface ElectricalField {
  readonly uuid: number;
  readonly quantity: Quantity;
  readonly label: string;
  readonly octets: 2 | 3;
  readonly multiplier: number;
  readonly scale: number;
  readonly notKnown: number;
  /** Largest raw value that is a measurement. */
  readonly largest: number;
  /** True where the ends of the range mean "this or lower" and "this or higher". */
  readonly endsAreLimits: boolean;
  readonly layout: Layout;
}

/**
 * What follows the value: nothing; the averaging time (Time Exponential 8); or, where the value is the
 * average, standard deviation, minimum and maximum in the same format, and then the time.
 */
export type Layout = 'alone' | 'averaged' | 'statistics';

const VOLT_64TH = { quantity: 'voltage', multiplier: 15625, scale: -6 } as const;
const AMPERE_100TH = {
  quantity: 'current',
  multiplier: 1,
  scale: -2,
  octets: 2,
  notKnown: 0xffff,
  largest: 0xfffe,
} as const;
// 1022.0 V, the largest voltage that the supplement prints, in 1/64 V.
const VOLT_LARGEST = 1022 * 64;

export const ELECTRICAL_FIELDS: readonly ElectricalField[] = [
  {
    uuid: 0x2b18,
    label: 'Voltage',
    ...VOLT_64TH,
    octets: 2,
    notKnown: 0xffff,
    largest: VOLT_LARGEST,
    endsAreLimits: true,
    layout: 'alone',
  },
  {
    uuid: 0x2ae1,
    label: 'Average voltage',
    ...VOLT_64TH,
    octets: 2,
    notKnown: 0xffff,
    largest: VOLT_LARGEST,
    endsAreLimits: true,
    layout: 'averaged',
  },
  {
    uuid: 0x2be0,
    label: 'High voltage',
    ...VOLT_64TH,
    octets: 3,
    notKnown: 0xffffff,
    largest: 0xfffffe,
    endsAreLimits: false,
    layout: 'alone',
  },
  {
    uuid: 0x2b1a,
    label: 'Average voltage (statistics)',
    ...VOLT_64TH,
    octets: 2,
    notKnown: 0xffff,
    largest: VOLT_LARGEST,
    endsAreLimits: true,
    layout: 'statistics',
  },
  { uuid: 0x2aee, label: 'Current (no sign)', ...AMPERE_100TH, endsAreLimits: false, layout: 'alone' },
  {
    uuid: 0x2ae0,
    label: 'Average current (no sign)',
    ...AMPERE_100TH,
    endsAreLimits: false,
    layout: 'averaged',
  },
  {
    uuid: 0x2af1,
    label: 'Average current (statistics, no sign)',
    ...AMPERE_100TH,
    endsAreLimits: false,
    layout: 'statistics',
  },
];
