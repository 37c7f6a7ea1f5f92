import { Random } from './random.ts';

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

/** A meter that exists nowhere: an encoding drawn at random, with its own encoder. */
export interface InventedMeter {
  readonly family: string;
  readonly mask: 'none' | 'key' | 'each';
  readonly checksum: string;
  /** What else changes in its frames. */
  readonly beside: string;
  readonly modes: readonly InventedMode[];
  readonly top: number;
  readonly hidden: number;
  readonly canNegative: boolean;
  readonly canOverload: boolean;
  readonly canHold: boolean;
  encode(state: MeterState): Uint8Array;
  display(state: MeterState): string;
  /** The figure shown, in last digits, with sign. */
  shown(state: MeterState): number;
  /** Value sent, in V or A. */
  value(state: MeterState): number;
}

type Block = { size: number; write: (out: Uint8Array, at: number, s: MeterState) => void };

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
type Family = (typeof FAMILIES)[number];

const MODE_SETS: readonly (readonly InventedMode[])[] = [
  [{ unit: 'V', decimals: 2 }],
  [{ unit: 'V', decimals: 3 }],
  [{ unit: 'A', decimals: 3 }],
  [
    { unit: 'V', decimals: 2 },
    { unit: 'mA', decimals: 1 },
  ],
  [
    { unit: 'V', decimals: 2 },
    { unit: 'A', decimals: 3 },
  ],
  [
    { unit: 'mA', decimals: 1 },
    { unit: 'A', decimals: 3 },
    { unit: 'A', decimals: 2 },
  ],
  [
    { unit: 'V', decimals: 3 },
    { unit: 'V', decimals: 2 },
    { unit: 'mV', decimals: 1 },
    { unit: 'mA', decimals: 2 },
  ],
  [
    { unit: 'V', decimals: 2 },
    { unit: 'µA', decimals: 0 },
    { unit: 'mA', decimals: 1 },
  ],
  [
    { unit: 'V', decimals: 2 },
    { unit: 'kΩ', decimals: 2 },
    { unit: 'A', decimals: 2 },
  ],
];

export function inventMeter(seed: number): InventedMeter {
  const r = new Random(seed * 7919 + 17);
  const chance = (p: number) => r.next() < p;
  const int = (low: number, high: number) => low + Math.floor(r.next() * (high - low + 1));
  const family: Family = FAMILIES[seed % FAMILIES.length]!;
  const top =
    family === 'int8'
      ? r.pick([99, 120])
      : family === 'sfloat'
        ? 1999
        : r.pick(
            family === 'int16' ? [1999, 3999, 9999, 19999] : [1999, 3999, 5999, 9999, 9999, 19999, 49999],
          );
  let modes = r.pick(MODE_SETS);
  if (family === 'int8') modes = [{ unit: 'V', decimals: 1 }, ...modes.slice(1)];
  const exact = ['bcd', 'unpacked', 'ascii', 'segments', 'int8', 'sfloat'].includes(family);
  const hidden =
    exact || chance(0.5)
      ? 0
      : family === 'int16'
        ? top * 10 < 32000
          ? 1
          : 0
        : family === 'text' || family === 'int24'
          ? 1
          : int(1, 2);
  const rounds = chance(0.5);
  const signKind = r.pick(['unsigned', 'twos', 'twos', 'magnitude', 'offset'] as const);
  const digitFamily = ['bcd', 'unpacked', 'ascii', 'segments'].includes(family);
  const ownSign = family.startsWith('int') ? signKind !== 'unsigned' : !digitFamily;
  const canNegative = ownSign || chance(0.75);
  const signOutside = canNegative && !ownSign;
  const canHold = chance(0.5);
  const canOverload = chance(0.6);
  const overloadByFlag = canOverload && (chance(0.4) || family === 'int8');

  // Octets beside the value.
  const signBit = 1 << int(0, 7);
  const bitsLeft = [0, 1, 2, 3, 4, 5, 6, 7].map((b) => 1 << b).filter((b) => b !== signBit);
  const holdBit = r.pick(bitsLeft);
  const overBit = r.pick(bitsLeft.filter((b) => b !== holdBit));
  const flagBase = int(0, 255) & ~signBit & ~holdBit & ~overBit;
  // A bit that comes and goes by itself beside the flags, now and then.
  const restless = chance(0.1) ? r.pick(bitsLeft.filter((b) => b !== holdBit && b !== overBit)) : 0;
  const flagsBlock: Block = {
    size: 1,
    write: (out, at, s) => {
      let octet = flagBase;
      if (signOutside && s.raw < 0) octet |= signBit;
      if (canHold && s.hold) octet |= holdBit;
      if (overloadByFlag && s.overload) octet |= overBit;
      if (restless && chance(0.5)) octet ^= restless;
      out[at] = octet;
    },
  };
  const distinct = (n: number, high: number) => {
    const codes: number[] = [];
    while (codes.length < n) {
      const code = int(0, high);
      if (!codes.includes(code)) codes.push(code);
    }
    return codes;
  };
  const blocks: Block[] = [flagsBlock];
  const pointInText = family === 'text' || family === 'float' || family === 'sfloat' || family === 'float32';
  const units = [...new Set(modes.map((m) => m.unit))];
  const unitCode = distinct(units.length, 15);
  const pointCode = distinct(5, 7);
  const modeCode = distinct(modes.length, 255);
  const coding = r.pick(['one', 'two', 'packed', 'hot'] as const);
  const codeOf = (s: MeterState) => {
    const m = modes[s.mode]!;
    return { unit: unitCode[units.indexOf(m.unit)]!, point: pointCode[m.decimals]! };
  };
  if (coding === 'one') blocks.push({ size: 1, write: (out, at, s) => (out[at] = modeCode[s.mode]!) });
  else if (coding === 'packed') {
    blocks.push({ size: 1, write: (out, at, s) => (out[at] = (codeOf(s).unit << 4) | codeOf(s).point) });
  } else if (coding === 'two') {
    blocks.push({ size: 1, write: (out, at, s) => (out[at] = codeOf(s).unit) });
    if (!pointInText) blocks.push({ size: 1, write: (out, at, s) => (out[at] = 0x30 + codeOf(s).point) });
  } else {
    blocks.push({
      size: 2,
      write: (out, at, s) => {
        const m = modes[s.mode]!;
        out[at] =
          (m.unit.endsWith('V') ? 0x04 : m.unit.endsWith('A') ? 0x08 : 0x02) |
          (pointInText ? 0 : m.decimals << 5);
        out[at + 1] = m.unit.startsWith('m')
          ? 0x40
          : m.unit.startsWith('µ')
            ? 0x80
            : m.unit.startsWith('k')
              ? 0x20
              : 0;
      },
    });
  }
  const noise = r.pick([
    'none',
    'none',
    'none',
    'counter',
    'random',
    'bar',
    'time',
    'copy',
    'largest',
  ] as const);
  let counter = int(0, 255);
  if (noise === 'counter')
    blocks.push({ size: 1, write: (out, at) => (out[at] = counter = (counter + int(1, 40)) & 255) });
  if (noise === 'random') blocks.push({ size: 1, write: (out, at) => (out[at] = int(0, 255)) });
  if (noise === 'bar') {
    blocks.push({ size: 1, write: (out, at, s) => (out[at] = Math.floor((Math.abs(shown(s)) / top) * 40)) });
  }
  let time = int(0, 60_000);
  if (noise === 'time') {
    blocks.push({
      size: 3,
      write: (out, at) => {
        time += int(2000, 20_000);
        out.set([time & 255, (time >> 8) & 255, (time >> 16) & 255], at);
      },
    });
  }
  let largest = -Infinity;
  if (noise === 'copy' || noise === 'largest') {
    blocks.push({
      size: 4,
      write: (out, at, s) => {
        largest = noise === 'copy' ? s.raw : Math.max(largest, s.raw);
        new DataView(out.buffer).setInt32(at, largest);
      },
    });
  }
  for (let i = int(0, 3); i > 0; i--) {
    const filler = chance(0.4) ? 0 : int(0, 255);
    blocks.push({ size: 1, write: (out, at) => (out[at] = filler) });
  }

  const shown = (s: MeterState) => {
    const figure = Math.abs(s.raw) / 10 ** hidden;
    const counts = rounds ? Math.round(figure) : Math.floor(figure);
    return s.raw < 0 && counts > 0 ? -counts : counts;
  };
  const exponentOf = (s: MeterState) => PREFIX[modes[s.mode]!.unit] - modes[s.mode]!.decimals - hidden;
  blocks.push(valueBlock());

  // Shuffle, add header, checksum and trailer.
  for (let i = blocks.length - 1; i > 0; i--) {
    const j = int(0, i);
    [blocks[i], blocks[j]] = [blocks[j]!, blocks[i]!];
  }
  const header = Array.from({ length: int(0, 3) }, () => int(0, 255));
  const trailer = chance(0.15) ? [0x0d, 0x0a] : [];
  const sums = [
    'none',
    'none',
    'sum',
    'sum-inverted',
    'sum16',
    'xor',
    'crc8',
    'crc8-maxim',
    'crc-modbus',
    'crc-ccitt',
    'crc-xmodem',
  ] as const;
  const checksum = r.pick(sums);
  const atStart = chance(0.2);
  const coversHeader = chance(0.6);
  const wide = checksum === 'sum16' || checksum.startsWith('crc-');
  const sumSize = checksum === 'none' ? 0 : wide ? 2 : 1;
  const sumLittle = chance(0.5);
  const body = blocks.reduce((n, b) => n + b.size, 0);
  const length = header.length + body + sumSize + trailer.length;
  const mask = r.pick(['none', 'none', 'none', 'none', 'key', 'each'] as const);
  const key = int(1, 255);
  const keys = Array.from({ length }, () => (mask === 'none' ? 0 : mask === 'key' ? key : int(0, 255)));

  return {
    family,
    mask,
    checksum,
    beside: restless ? `${noise} restless` : noise,
    modes,
    top,
    hidden,
    canNegative,
    canOverload,
    canHold,
    shown,
    value: (s) => Number(`${s.raw}e${exponentOf(s)}`),
    display: (s) => {
      if (s.overload) return `OL ${modes[s.mode]!.unit}`;
      const m = modes[s.mode]!;
      const figure = (Math.abs(shown(s)) / 10 ** m.decimals).toFixed(m.decimals);
      return `${shown(s) < 0 ? '-' : ''}${figure} ${m.unit}${s.hold ? ' HOLD' : ''}`;
    },
    encode: (s) => {
      const out = new Uint8Array(length);
      out.set(header);
      const sumAt = atStart ? header.length : header.length + body;
      let at = header.length + (atStart ? sumSize : 0);
      const bodyAt = at;
      for (const b of blocks) {
        b.write(out, at, s);
        at += b.size;
      }
      out.set(trailer, length - trailer.length);
      const covered = atStart
        ? [...out.slice(bodyAt, bodyAt + body)]
        : [...out.slice(coversHeader ? 0 : header.length, sumAt)];
      const sum = sumOf(checksum, covered);
      if (sumSize === 1) out[sumAt] = sum;
      if (sumSize === 2) {
        out[sumAt] = sumLittle ? sum & 255 : sum >> 8;
        out[sumAt + 1] = sumLittle ? sum >> 8 : sum & 255;
      }
      return out.map((octet, i) => octet ^ keys[i]!);
    },
  };

  function valueBlock(): Block {
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
          if (special(s))
            code = signKind === 'unsigned' || signKind === 'offset' ? span - 1n : span / 2n - 1n;
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

  function sumOf(kind: string, octets: readonly number[]): number {
    const total = octets.reduce((a, b) => a + b, 0);
    switch (kind) {
      case 'sum':
        return total % 256;
      case 'sum-inverted':
        return (256 - (total % 256)) % 256;
      case 'sum16':
        return total % 65536;
      case 'xor':
        return octets.reduce((a, b) => a ^ b, 0);
      case 'crc8':
        return divide(octets, '100000111', false, '0', '0');
      case 'crc8-maxim':
        return divide(octets, '100110001', true, '0', '0');
      case 'crc-modbus':
        return divide(octets, '11000000000000101', true, '1', '0');
      case 'crc-ccitt':
        return divide(octets, '10001000000100001', false, '1', '0');
      case 'crc-xmodem':
        return divide(octets, '10001000000100001', false, '0', '0');
      default:
        return 0;
    }
  }
}

/** A CRC as the long division that it is, on strings of bits. */
function divide(
  octets: readonly number[],
  generator: string,
  reflected: boolean,
  first: string,
  last: string,
): number {
  const width = generator.length - 1;
  const turn = (b: string) => (reflected ? [...b].reverse().join('') : b);
  const message = octets.map((o) => turn(o.toString(2).padStart(8, '0'))).join('') + '0'.repeat(width);
  const bits = [...message].map(Number);
  // A start value of ones is the message's first bits inverted.
  if (first === '1') for (let i = 0; i < width; i++) bits[i]! ^= 1;
  for (let i = 0; i + width < bits.length; i++) {
    if (!bits[i]) continue;
    for (let j = 0; j <= width; j++) bits[i + j]! ^= Number(generator[j]);
  }
  let rest = turn(bits.slice(-width).join(''));
  if (last === '1') rest = [...rest].map((b) => (b === '1' ? '0' : '1')).join('');
  return parseInt(rest, 2);
}
