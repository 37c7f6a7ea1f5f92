import { z } from 'zod';
import { meterKeySchema, quantitySchema } from './records.ts';

/** A meter as the Meters page and the live watch show it, wherever its radio is. */
export const METER_STATES = ['seen', 'connecting', 'connected', 'reconnecting', 'failed'] as const;

export const meterChannelSchema = z.strictObject({
  key: z.string().min(1).max(60),
  quantity: quantitySchema,
  label: z.string().max(120),
  apertureMs: z.number().positive().nullable(),
  /** The display's last digit in the quantity's unit, where the meter's format has one. */
  step: z.number().positive().nullable().optional(),
});
export type MeterChannelInfo = z.infer<typeof meterChannelSchema>;

/** Device Information and Battery of the Bluetooth SIG. */
export const meterDetailsSchema = z.strictObject({
  maker: z.string().max(120).nullable(),
  model: z.string().max(120).nullable(),
  serial: z.string().max(120).nullable(),
  firmware: z.string().max(120).nullable(),
  /** Charge of the meter's own cell. */
  cellPercent: z.number().min(0).max(100).nullable(),
});

export const meterSchema = z.strictObject({
  key: meterKeySchema,
  source: z.enum(['server', 'page', 'virtual']),
  name: z.string().max(120),
  driver: z.string().max(120).nullable(),
  state: z.enum(METER_STATES),
  rssi: z.number().nullable(),
  channels: z.array(meterChannelSchema).max(16),
  /** What it says of itself; absent while it has said nothing. */
  details: meterDetailsSchema.nullable().optional(),
  /** Why it is in this state, where that needs saying. */
  sentence: z.string().max(400),
});
export type Meter = z.infer<typeof meterSchema>;

/** What this server's own radio can do, in one sentence for the Meters page. */
export const bluetoothStatusSchema = z.strictObject({
  state: z.enum(['ready', 'starting', 'unavailable']),
  reason: z
    .enum([
      'library-missing',
      'no-adapter',
      'adapter-off',
      'not-allowed',
      'no-bluetooth-support',
      'not-answering',
    ])
    .nullable(),
  sentence: z.string(),
});
export type BluetoothStatus = z.infer<typeof bluetoothStatusSchema>;
