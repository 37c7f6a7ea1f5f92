import type { Random } from './random.ts';

/** What a meter measures at one moment. */
export interface MeterState {
  readonly mode: number;
  /** In the last digit that it sends, which may be finer than the last that it shows; with sign. */
  readonly raw: number;
  readonly overload: boolean;
  readonly hold: boolean;
}

export interface InventedMode {
  readonly unit: 'V' | 'mV' | 'A' | 'mA' | 'µA' | 'kΩ';
  readonly decimals: number;
}

export const PREFIX = { V: 0, mV: -3, A: 0, mA: -3, µA: -6, kΩ: 3 } as const;

export type Block = { size: number; write: (out: Uint8Array, at: number, s: MeterState) => void };

export const FAMILIES = [
  'int8',
  'int16',
  'int24',
  'int32',
  'bcd',
  'unpacked',
  'ascii',
  'text',
  'sfloat',
  'float',
  'float32',
  'segments',
] as const;
export type Family = (typeof FAMILIES)[number];

export interface ValueContext {
  readonly family: Family;
  readonly modes: readonly InventedMode[];
  readonly top: number;
  readonly hidden: number;
  readonly signKind: 'unsigned' | 'twos' | 'magnitude' | 'offset';
  readonly overloadByFlag: boolean;
  readonly random: Random;
  /** Power of ten of the last digit sent, in V or A. */
  readonly exponentOf: (s: MeterState) => number;
}

/** The octets that hold the figure, in one of the families. */
export function valueBlock(context: ValueContext): Block {
  const { family, modes, top, hidden, signKind, overloadByFlag, random: r, exponentOf } = context;
  const chance = (p: number) => r.next() < p;
  const int = (low: number, high: number) => low + Math.floor(r.next() * (high - low + 1));
  const little = chance(0.5);
  const put = (out: Uint8Array, at: number, octets: number[]) =>
    out.set(little ? [...octets].reverse() : octets, at);
  const special = (s: MeterState) => s.overload && !overloadByFlag;
  const frozen = int(0, Math.min(top, 90)); // what a meter that flags over-range leaves in the figure
  const figure = (s: MeterState) => (s.overload ? frozen : s.raw);
  if (family.startsWith('int')) {
    const octets = { int8: 1, int16: 2, int24: 3, int32: 4 }[family as 'int8'];
    return {
      size: octets,
      write: (out, at, s) => {
        const span = 2n ** BigInt(8 * octets);
        const v = BigInt(figure(s));
        let code: bigint;
        if (special(s)) code = signKind === 'unsigned' || signKind === 'offset' ? span - 1n : span / 2n - 1n;
        else if (signKind === 'unsigned') code = v < 0n ? -v : v;
        else if (signKind === 'twos') code = BigInt.asUintN(8 * octets, v);
        else if (signKind === 'magnitude') code = v < 0n ? span / 2n - v : v;
        else code = v + span / 2n;
        put(
          out,
          at,
          code
            .toString(16)
            .padStart(2 * octets, '0')
            .match(/../g)!
            .map((h) => parseInt(h, 16)),
        );
      },
    };
  }
  const width = String(top).length;
  const digitsOf = (s: MeterState) => String(Math.abs(figure(s))).padStart(width, '0');
  if (family === 'bcd') {
    const octets = Math.ceil(width / 2) + (chance(0.2) ? 1 : 0);
    const swapped = chance(0.3);
    return {
      size: octets,
      write: (out, at, s) => {
        const text = special(s) ? 'f'.repeat(2 * octets) : digitsOf(s).padStart(2 * octets, '0');
        const pairs = text.match(/../g)!.map((p) => parseInt(swapped ? p[1]! + p[0]! : p, 16));
        put(out, at, pairs);
      },
    };
  }
  if (family === 'unpacked' || family === 'ascii') {
    const high = family === 'ascii' ? 3 : int(0, 15);
    return {
      size: width,
      write: (out, at, s) => {
        const text = special(s) ? 'a'.repeat(width) : digitsOf(s);
        const octets = [...text].map((d) => (high << 4) | parseInt(d, 16));
        if (family === 'ascii') out.set(octets, at);
        else put(out, at, octets);
      },
    };
  }
  if (family === 'text') {
    const plus = r.pick(['+', ' ']);
    const pad = r.pick(['0', ' ']);
    const w = width + hidden + 2;
    return {
      size: w,
      write: (out, at, s) => {
        const decimals = modes[s.mode]!.decimals + hidden;
        const number = (Math.abs(figure(s)) / 10 ** decimals).toFixed(decimals);
        const text = special(s) ? ' OL'.padEnd(w) : (s.raw < 0 ? '-' : plus) + number.padStart(w - 1, pad);
        out.set(
          [...text].map((c) => c.charCodeAt(0)),
          at,
        );
      },
    };
  }
  if (family === 'float32') {
    const inBase = chance(0.6);
    return {
      size: 4,
      write: (out, at, s) => {
        const prefix = PREFIX[modes[s.mode]!.unit];
        const view = new DataView(new ArrayBuffer(4));
        const value = figure(s) * 10 ** (exponentOf(s) - (inBase ? 0 : prefix));
        view.setFloat32(0, special(s) ? NaN : value);
        put(out, at, [...new Uint8Array(view.buffer)]);
      },
    };
  }
  if (family === 'sfloat' || family === 'float') {
    const octets = family === 'sfloat' ? 2 : 4;
    const mantissaBits = family === 'sfloat' ? 12 : 24;
    return {
      size: octets,
      write: (out, at, s) => {
        const bits = (n: number, width: number) =>
          BigInt.asUintN(width, BigInt(n)).toString(2).padStart(width, '0');
        const text = special(s)
          ? bits(0, 8 * octets - mantissaBits) + bits(2 ** (mantissaBits - 1) - 1, mantissaBits)
          : bits(exponentOf(s), 8 * octets - mantissaBits) + bits(figure(s), mantissaBits);
        put(
          out,
          at,
          text.match(/.{8}/g)!.map((b) => parseInt(b, 2)),
        );
      },
    };
  }
  // Segments: a permutation of a to g and the point over the bits of a digit's octet.
  const lamps = ['abcdef', 'bc', 'abdeg', 'abcdg', 'bcfg', 'acdfg', 'acdefg', 'abc', 'abcdefg', 'abcdfg'];
  if (chance(0.2)) lamps[6] = 'cdefg';
  if (chance(0.2)) lamps[7] = 'abcf';
  if (chance(0.2)) lamps[9] = 'abcfg';
  const order = [...'abcdefgp'];
  for (let i = 7; i > 0; i--) {
    const j = int(0, i);
    [order[i], order[j]] = [order[j]!, order[i]!];
  }
  const layout = r.pick(['octet', 'straddle', 'low'] as const);
  const dark = chance(0.3);
  const spare = int(0, 15);
  return {
    size: layout === 'octet' ? width : layout === 'straddle' ? width + 1 : 2 * width,
    write: (out, at, s) => {
      const shown = special(s) ? 'OL'.padStart(width) : digitsOf(s);
      const leading = Math.max(
        0,
        width - Math.max(modes[s.mode]!.decimals + 1, String(Math.abs(figure(s))).length),
      );
      [...shown].forEach((c, j) => {
        const blank = c === ' ' || (dark && !special(s) && j < leading);
        const lit = blank ? '' : c === 'O' ? lamps[0]! : c === 'L' ? 'def' : lamps[Number(c)]!;
        let code = 0;
        for (const lamp of lit) code |= 1 << order.indexOf(lamp);
        // The point after the digit before the decimals.
        if (!special(s) && width - 1 - j === modes[s.mode]!.decimals) code |= 1 << order.indexOf('p');
        if (layout === 'octet') out[at + j] = code;
        else if (layout === 'low') {
          out[at + 2 * j] = (((2 * j + 1) << 4) & 0xf0) | (code >> 4);
          out[at + 2 * j + 1] = (((2 * j + 2) << 4) & 0xf0) | (code & 15);
        } else {
          out[at + j] = (out[at + j]! & 0xf0) | (code >> 4);
          out[at + j + 1] = ((code & 15) << 4) | (j === width - 1 ? spare : 0);
        }
      });
    },
  };
}
