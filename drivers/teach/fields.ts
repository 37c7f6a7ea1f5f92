import type { ByteOrder, ValueField } from './description.ts';

/** A field to try and what it costs to name it among its kind, bits. */
export interface Choice {
  readonly field: ValueField;
  readonly cost: number;
}

const ORDERS: readonly ByteOrder[] = ['little', 'big'];

/** Every number field that a frame of `length` octets can hold, simplest kinds first. */
export function plainFields(length: number): Choice[] {
  return [...integerFields(length), ...floatFields(length), ...bcdFields(length), ...textFields(length)];
}

export function integerFields(length: number): Choice[] {
  const out: Choice[] = [];
  const place = Math.log2(length);
  for (const octets of [2, 1, 3, 4]) {
    for (let at = 0; at + octets <= length; at++) {
      for (const order of octets === 1 ? (['big'] as const) : ORDERS) {
        for (const sign of ['unsigned', 'twos-complement', 'sign-magnitude', 'offset-binary'] as const) {
          const rare = sign === 'unsigned' || sign === 'twos-complement' ? 3 : 5;
          out.push({ field: { kind: 'integer', at, octets, order, sign }, cost: place + rare + octets / 2 });
        }
      }
    }
  }
  return out;
}

export function floatFields(length: number): Choice[] {
  const out: Choice[] = [];
  for (const [kind, octets] of [
    ['sfloat', 2],
    ['float', 4],
    ['float32', 4],
  ] as const) {
    for (let at = 0; at + octets <= length; at++) {
      for (const order of ORDERS) out.push({ field: { kind, at, order }, cost: Math.log2(length) + 5 });
    }
  }
  return out;
}

const FEWEST_DIGITS = 2;
const MOST_DIGITS = 8;

/** Half octets that may be read one after another as digits, most significant first. */
export function digitRuns(length: number): number[][] {
  const octets = Array.from({ length }, (_, i) => i);
  const reversed = [...octets].reverse();
  const high = (i: number) => 2 * i;
  const low = (i: number) => 2 * i + 1;
  return [
    octets.flatMap((i) => [high(i), low(i)]),
    octets.flatMap((i) => [low(i), high(i)]),
    reversed.flatMap((i) => [high(i), low(i)]),
    reversed.flatMap((i) => [low(i), high(i)]),
    octets.map(low),
    octets.map(high),
    reversed.map(low),
    reversed.map(high),
  ];
}

export function bcdFields(length: number): Choice[] {
  const out: Choice[] = [];
  for (const run of digitRuns(length)) {
    for (let digits = FEWEST_DIGITS; digits <= Math.min(MOST_DIGITS, run.length); digits++) {
      for (let first = 0; first + digits <= run.length; first++) {
        out.push({
          field: { kind: 'bcd', digits: run.slice(first, first + digits) },
          cost: Math.log2(length) + 7,
        });
      }
    }
  }
  return out;
}

export function textFields(length: number): Choice[] {
  const out: Choice[] = [];
  for (let at = 0; at < length; at++) {
    for (let n = FEWEST_DIGITS; n <= 10 && at + n <= length; n++) {
      out.push({ field: { kind: 'text', at, length: n }, cost: Math.log2(length) + 6 });
    }
  }
  return out;
}
