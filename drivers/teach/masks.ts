import { lastDigit } from './display.ts';
import type { Lesson } from './examples.ts';
import type { ValueField } from './description.ts';
import { nibbleAt } from './bits.ts';
import { bcdFields, floatFields, integerFields, plainFields, textFields } from './fields.ts';
import { isExact, tryField, type Hypothesis } from './hypothesis.ts';

/** One octet combined with every octet of the frame. */
export function keyHypotheses(lesson: Lesson): Hypothesis[] {
  const out: Hypothesis[] = [];
  const choices = plainFields(lesson.length);
  for (let key = 1; key < 256; key++) {
    const mask = new Uint8Array(lesson.length).fill(key);
    const frames = lesson.figures.map((e) => e.frame.map((octet) => octet ^ key));
    for (const { field, cost } of choices) {
      const found = tryField(lesson, field, mask, cost + 8, frames);
      if (found) out.push(found);
    }
  }
  return out;
}

/**
 * A mask of its own for each octet: the figure of one glance says what the field must have held, the frame
 * says what it sent, and their difference must then explain every other glance.
 */
export function maskHypotheses(lesson: Lesson): Hypothesis[] {
  const pivot = lesson.figures.reduce((a, b) => (Math.abs(b.counts) > Math.abs(a.counts) ? b : a));
  const { counts } = pivot;
  const out: Hypothesis[] = [];
  const attempt = (field: ValueField, at: number, plain: readonly number[], cost: number) => {
    const mask = new Uint8Array(lesson.length);
    plain.forEach((octet, i) => (mask[at + i] = octet ^ pivot.frame[at + i]!));
    if (mask.every((m) => m === 0)) return;
    const found = tryField(lesson, field, mask, cost);
    // Under a mask of its own a float is known only if it carries no more than the display shows.
    if (found && (field.kind === 'integer' || isExact(lesson, found))) out.push(found);
  };
  for (const { field, cost } of integerFields(lesson.length)) {
    if (field.kind !== 'integer') continue;
    // Offset binary under a mask is two's complement under another.
    if (
      field.sign === 'offset-binary' ||
      (field.sign !== 'unsigned' && lesson.figures.every((e) => e.counts >= 0))
    )
      continue;
    for (const { value, extra } of hiddenDigits(counts, 1)) {
      const plain = encodeInteger(field, value);
      if (plain) attempt(field, field.at, plain, cost + extra);
    }
  }
  for (const { field, cost } of floatFields(lesson.length)) {
    if (!('order' in field)) continue;
    // In volts or amperes, or in the unit as shown.
    for (const exponent of new Set([lastDigit(pivot.glance), -pivot.glance.decimals])) {
      for (const plain of encodeFloats(field.kind, counts, exponent)) {
        attempt(field, field.at, field.order === 'little' ? [...plain].reverse() : plain, cost + 4);
      }
    }
  }
  for (const { field, cost } of bcdFields(lesson.length)) {
    if (field.kind !== 'bcd') continue;
    const mask = bcdMask(field.digits, pivot.frame, Math.abs(counts), lesson.length);
    const found = mask && tryField(lesson, field, mask, cost);
    if (found) out.push(found);
  }
  for (const { field, cost } of textFields(lesson.length)) {
    if (field.kind !== 'text') continue;
    for (const text of writings(counts, pivot.glance.decimals, field.length)) {
      const plain = Array.from(text, (c) => c.charCodeAt(0));
      attempt(field, field.at, plain, cost + 4);
    }
  }
  return out;
}

/** The raw numbers that a display would show as `counts`, with up to `most` digits more than it shows. */
function hiddenDigits(counts: number, most: number): { value: number; extra: number }[] {
  const out: { value: number; extra: number }[] = [{ value: counts, extra: 0 }];
  const sign = counts < 0 ? -1 : 1;
  for (let k = 1; k <= most; k++) {
    const unit = 10 ** k;
    for (let d = -unit / 2; d < unit; d++) {
      out.push({ value: sign * (Math.abs(counts) * unit + d), extra: 1 + k * Math.log2(10) });
    }
  }
  return out;
}

function encodeInteger(field: Extract<ValueField, { kind: 'integer' }>, value: number): number[] | null {
  const span = 2 ** (8 * field.octets);
  let raw: number;
  if (field.sign === 'unsigned') raw = Math.abs(value);
  else if (field.sign === 'twos-complement') raw = value < 0 ? span + value : value;
  else raw = value < 0 ? span / 2 - value : value;
  const limit = field.sign === 'unsigned' ? span : span / 2;
  if (Math.abs(value) >= limit) return null;
  const octets: number[] = [];
  for (let i = 0; i < field.octets; i++) {
    octets.push(raw % 256);
    raw = Math.floor(raw / 256);
  }
  return field.order === 'little' ? octets : octets.reverse();
}

/** Most significant octet first. */
function encodeFloats(kind: string, counts: number, exponent: number): number[][] {
  if (kind === 'float32') {
    const view = new DataView(new ArrayBuffer(4));
    view.setFloat32(0, exponent < 0 ? counts / 10 ** -exponent : counts * 10 ** exponent);
    return [[0, 1, 2, 3].map((i) => view.getUint8(i))];
  }
  const out: number[][] = [];
  for (let k = 0; k <= 2; k++) {
    const mantissa = counts * 10 ** k;
    const own = exponent - k;
    if (kind === 'sfloat') {
      if (Math.abs(mantissa) > 2045 || own < -8 || own > 7) continue;
      out.push([((own & 15) << 4) | ((mantissa >> 8) & 15), mantissa & 255]);
    } else {
      if (Math.abs(mantissa) > 8_388_605) continue;
      out.push([own & 255, (mantissa >> 16) & 255, (mantissa >> 8) & 255, mantissa & 255]);
    }
  }
  return out;
}

function bcdMask(
  digits: readonly number[],
  frame: Uint8Array,
  counts: number,
  length: number,
): Uint8Array | null {
  const text = String(counts).padStart(digits.length, '0');
  if (text.length > digits.length) return null;
  const mask = new Uint8Array(length);
  digits.forEach((address, i) => {
    const difference = nibbleAt(frame, address) ^ Number(text[i]);
    mask[address >> 1]! |= address % 2 === 0 ? difference << 4 : difference;
  });
  return mask.every((m) => m === 0) ? null : mask;
}

/** The ways a meter writes a figure into `width` characters. */
function writings(counts: number, decimals: number, width: number): Set<string> {
  const digits = String(Math.abs(counts)).padStart(decimals + 1, '0');
  const point = decimals === 0 ? digits : `${digits.slice(0, -decimals)}.${digits.slice(-decimals)}`;
  const out = new Set<string>();
  for (const body of [digits, point]) {
    for (const pad of ['0', ' ']) {
      for (const sign of ['', '+', ' ']) {
        const lead = sign === '' ? '' : counts < 0 ? '-' : sign;
        const room = width - lead.length;
        if (body.length > room) continue;
        out.add(lead + body.padStart(room, pad));
        if (pad === ' ') out.add((lead + body).padStart(width, pad));
      }
    }
  }
  return out;
}
