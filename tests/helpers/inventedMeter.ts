import { BESIDE, besideBlocks } from './inventedBeside.ts';
import { sumOf } from './inventedSums.ts';
import {
  FAMILIES,
  PREFIX,
  valueBlock,
  type Block,
  type Family,
  type InventedMode,
  type MeterState,
} from './inventedValue.ts';
import { Random } from './random.ts';

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
  const noise = r.pick(BESIDE);
  blocks.push(...besideBlocks(noise, int, top, (state) => shown(state)));
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
  blocks.push(valueBlock({ family, modes, top, hidden, signKind, overloadByFlag, random: r, exponentOf }));

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
}
