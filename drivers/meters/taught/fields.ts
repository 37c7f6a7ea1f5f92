import type { Quantity } from '../../core/reading.ts';

/** What a technician reads beside the figure. */
export const LABELS: Readonly<Record<Quantity, string>> = {
  voltage: 'Voltage',
  current: 'Current',
  temperature: 'Temperature',
};
