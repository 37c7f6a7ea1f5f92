import { readFileSync, readdirSync } from 'node:fs';
import { z } from 'zod';
import type { Secrets } from '../../drivers/core/driver.ts';
import type { Advertisement } from '../../drivers/core/link.ts';
import { FLAG } from '../../drivers/core/reading.ts';
import type { Uuid } from '../../drivers/core/uuid.ts';
import { decryptCcm } from '../../drivers/links/node/decrypt.ts';
import { fromHex } from './hex.ts';

const folder = new URL('../vectors/broadcasts/', import.meta.url);
const hex = z.string().regex(/^([0-9a-f]{2})*$/);

/** Recorded broadcasts of one driver and what each must decode to, the first of its meter in every case. */
const caseSchema = z.strictObject({
  driver: z.string(),
  source: z.string().min(10),
  /** For the packets that are read with it. */
  key: hex,
  address: z.string(),
  packets: z.array(
    z.intersection(
      z.object({ what: z.string(), hex, withKey: z.boolean().default(false) }),
      z.union([
        z.object({
          readings: z.array(
            z.strictObject({
              key: z.string(),
              text: z.string(),
              flags: z.array(z.enum(Object.keys(FLAG) as [keyof typeof FLAG])).default([]),
            }),
          ),
          cellPercent: z.number().nullable().default(null),
          firmware: z.string().nullable().default(null),
        }),
        z.object({ error: z.string() }),
      ]),
    ),
  ),
});
export type BroadcastCase = z.infer<typeof caseSchema>;

export function broadcastCases(): BroadcastCase[] {
  return readdirSync(folder).map((name) =>
    caseSchema.parse(JSON.parse(readFileSync(new URL(name, folder), 'utf8'))),
  );
}

export function secretsOf(c: BroadcastCase): Secrets {
  return { key: fromHex(c.key), decrypt: decryptCcm };
}

export function advertisementOf(
  address: string,
  uuid: Uuid,
  bytes: Uint8Array,
  atMs = 0,
  name: string | null = null,
): Advertisement {
  return { id: address, address, name, rssi: -60, serviceData: [{ uuid, bytes }], atMs };
}
