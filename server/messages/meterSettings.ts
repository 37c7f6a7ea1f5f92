import { z } from 'zod';

export const METER_ADDRESS = /^([0-9a-f]{2}:){5}[0-9a-f]{2}$/i;

/** The file bind-keys.json: an address and its key. */
export const bindKeyFileSchema = z.record(
  z.string().regex(METER_ADDRESS, 'an address is six pairs of hexadecimal digits with colons'),
  z.string().regex(/^[0-9a-f]{32}$/i, 'a bind key has 32 hexadecimal digits'),
);

/** 16 octets; null takes the key away. Keys are never sent back. */
export const bindKeyRequestSchema = z.strictObject({
  key: z
    .string()
    .trim()
    .toLowerCase()
    .regex(/^[0-9a-f]{32}$/, 'a bind key has 32 hexadecimal digits')
    .nullable(),
});

const uuidSchema = z
  .string()
  .trim()
  .toLowerCase()
  .regex(
    /^(0x)?[0-9a-f]{4}$|^[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}$/,
    'a service is 4 hexadecimal digits, or 32 with dashes',
  );

/** Addresses of the meters that have a key. */
export const bindKeyListSchema = z.array(z.string());

/** Services of makers that a browser's chooser must name in advance, as a person typed them. */
export const vendorServicesSchema = z.array(uuidSchema).max(40);
