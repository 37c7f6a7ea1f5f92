import { readFileSync, readdirSync } from 'node:fs';
import { z } from 'zod';
import type { MeterProfile } from '../../drivers/core/driver.ts';
import { FLAG } from '../../drivers/core/reading.ts';
import { canonicalUuid } from '../../drivers/core/uuid.ts';
import { fromHex } from './hex.ts';

const folder = new URL('../vectors/meters/', import.meta.url);
const flagNames = z.array(z.enum(Object.keys(FLAG) as [keyof typeof FLAG]));
const hex = z.string().regex(/^([0-9a-f]{2})*$/);

/** A recorded case: a meter's characteristics and what each of its frames must decode to. */
const caseSchema = z.strictObject({
  driver: z.string(),
  source: z.string().min(10),
  characteristics: z.array(
    z.strictObject({ service: z.string(), characteristic: z.string(), presentationFormat: hex.nullable() }),
  ),
  /** Values that stand alone: one notification, one frame. */
  frames: z
    .array(
      z.union([
        z.strictObject({
          from: z.int(),
          hex,
          key: z.string(),
          text: z.string(),
          flags: flagNames,
          apertureS: z.number().optional(),
        }),
        z.strictObject({ from: z.int(), hex, error: z.string() }),
        z.strictObject({ from: z.int(), hex, nothing: z.literal(true) }),
      ]),
    )
    .default([]),
  /** Streams that may be cut anywhere: all octets in order, and every reading that they hold. */
  streams: z
    .array(
      z.strictObject({
        from: z.int(),
        what: z.string(),
        hex,
        readings: z.array(z.strictObject({ key: z.string(), text: z.string(), flags: flagNames })),
      }),
    )
    .default([]),
});
export type MeterCase = z.infer<typeof caseSchema>;

export function meterCases(): MeterCase[] {
  return readdirSync(folder)
    .filter((name) => name.endsWith('.json'))
    .map((name) => caseSchema.parse(JSON.parse(readFileSync(new URL(name, folder), 'utf8'))));
}

export function profileOf(c: MeterCase): MeterProfile {
  const before: string[] = [];
  return {
    name: 'Recorded meter',
    characteristics: c.characteristics.map((x) => {
      const service = canonicalUuid(x.service);
      const characteristic = canonicalUuid(x.characteristic);
      const id = `${service}/${characteristic}`;
      const index = before.filter((b) => b === id).length;
      before.push(id);
      return {
        service,
        characteristic,
        index,
        canRead: true,
        canNotify: true,
        canWrite: false,
        descriptors: [],
        presentationFormat: x.presentationFormat === null ? null : fromHex(x.presentationFormat),
      };
    }),
  };
}
