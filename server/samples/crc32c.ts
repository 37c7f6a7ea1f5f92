/** CRC-32C (Castagnoli), reflected polynomial 0x82F63B78, as RFC 3720 section 12.1 uses it. */
const TABLE = Uint32Array.from({ length: 256 }, (_, n) => {
  let c = n;
  for (let k = 0; k < 8; k++) c = c & 1 ? (c >>> 1) ^ 0x82f63b78 : c >>> 1;
  return c;
});

/** The checksum of `bytes[from..to)` as an unsigned 32-bit number. */
export function crc32c(bytes: Uint8Array, from = 0, to = bytes.length): number {
  let c = 0xffffffff;
  for (let i = from; i < to; i++) c = TABLE[(c ^ bytes[i]!) & 0xff]! ^ (c >>> 8);
  return (c ^ 0xffffffff) >>> 0;
}
