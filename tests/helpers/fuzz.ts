import { DriverError } from '../../drivers/core/errors.ts';
import { isLive, valueOf, type Reading } from '../../drivers/core/reading.ts';

/** Frames that every driver is thrown; NIGHTDRAW_FUZZ asks for more. */
export const FUZZ_FRAMES = Number(process.env['NIGHTDRAW_FUZZ'] ?? 10_000);
export const FUZZ_FRESH_EVERY = 500;
/** A long run takes its time. */
export const FUZZ_MS = 30_000 + FUZZ_FRAMES / 2;

const LONGEST = 250;
/** No meter of this trade reads so much; the widest standard format ends at 262 kV. */
const ABSURD = 1e9;

/**
 * Bytes that look like what the meter sends and are not: half of them made of nothing, half made of real
 * frames with bits turned, octets left out, doubled or put in, ends cut off and two frames run together.
 */
export function fuzzer(random: () => number, real: readonly Uint8Array[]): () => Uint8Array {
  const below = (n: number): number => Math.floor(random() * n);
  const octet = (): number => below(256);

  function mutated(): number[] {
    const bytes = [...real[below(real.length)]!];
    for (let times = 1 + below(3); times > 0; times--) {
      const at = below(bytes.length + 1);
      switch (below(6)) {
        case 0:
          if (at < bytes.length) bytes[at]! ^= 1 << below(8);
          break;
        case 1:
          bytes.splice(at, 1 + below(3));
          break;
        case 2:
          bytes.splice(at, 0, ...bytes.slice(at, at + 1 + below(8)));
          break;
        case 3:
          bytes.splice(at, 0, octet());
          break;
        case 4:
          bytes.length = at;
          break;
        default:
          bytes.push(...real[below(real.length)]!);
      }
    }
    return bytes.slice(0, LONGEST);
  }

  return () => {
    if (real.length > 0 && random() < 0.5) return Uint8Array.from(mutated());
    return Uint8Array.from({ length: below(40) }, octet);
  };
}

/** Reads, and says what is wrong with how that went; null where all is well. */
export function misbehaviour(read: () => readonly { readonly reading: Reading }[]): string | null {
  let readings;
  try {
    readings = read();
  } catch (error) {
    return error instanceof DriverError ? null : `threw ${String(error)}`;
  }
  for (const { reading } of readings) {
    const value = valueOf(reading.counts, reading.scale);
    if (!Number.isFinite(value)) return `read ${value}`;
    if (isLive(reading.flags) && Math.abs(value) > ABSURD) return `read an absurd ${value}`;
    if (reading.apertureS !== undefined && !(reading.apertureS > 0)) return `aperture ${reading.apertureS}`;
  }
  return null;
}
