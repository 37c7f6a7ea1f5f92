/** JSON in the one form that can be signed: RFC 8785 (JSON Canonicalization Scheme), on I-JSON (RFC 7493). */

export type Json = null | boolean | number | string | readonly Json[] | { readonly [key: string]: Json };

/**
 * Keys in the order of their UTF-16 code units, numbers as ECMAScript prints them, no white space.
 * @throws RangeError for NaN, infinities, lone surrogates and whatever else JSON does not have
 */
export function canonicalJson(value: unknown): string {
  if (value === null || typeof value === 'boolean') return String(value);
  if (typeof value === 'number') {
    if (!Number.isFinite(value)) throw new RangeError('a number that is not finite has no JSON');
    return JSON.stringify(value);
  }
  if (typeof value === 'string') return canonicalString(value);
  if (Array.isArray(value)) return `[${value.map(canonicalJson).join(',')}]`;
  if (typeof value !== 'object') throw new RangeError(`a ${typeof value} has no JSON`);
  const members = Object.entries(value).filter(([, v]) => v !== undefined);
  members.sort(([a], [b]) => (a < b ? -1 : 1));
  return `{${members.map(([k, v]) => `${canonicalString(k)}:${canonicalJson(v)}`).join(',')}}`;
}

/**
 * Reads a text only if it is canonical, so that one value has one text: a key twice, white space or another
 * spelling of a number is refused.
 * @throws RangeError
 */
export function parseCanonical(text: string): unknown {
  let value: unknown;
  try {
    value = JSON.parse(text);
  } catch {
    throw new RangeError('not JSON');
  }
  if (canonicalJson(value) !== text) throw new RangeError('not canonical JSON (RFC 8785)');
  return value;
}

function canonicalString(text: string): string {
  if (LONE_SURROGATE.test(text)) throw new RangeError('a text with half a surrogate pair has no UTF-8');
  return JSON.stringify(text);
}

const LONE_SURROGATE = /\p{Surrogate}/u;
