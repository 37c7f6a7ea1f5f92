import { CRC_FORMS } from './catalogue.ts';
import { checksumOf, storedChecksum } from './checksum.ts';
import type { Checksum } from './description.ts';
import { crossed, generator } from './probe.ts';

export interface FoundChecksum {
  /** null where several forms fit that would refuse different frames. */
  readonly checksum: Checksum | null;
  /** Octets that hold it. */
  readonly octets: ReadonlySet<number>;
}

/** So many different checksums must have been seen: two or three codes of a mode are no checksum. */
const FEWEST_DIFFERENT = 4;
const MOST_FORMS = 200;

/**
 * The checksums that every frame bears out, one for each place, likeliest first. In a sum or an exclusive or any
 * octet is the checksum of the others, so there may be several places.
 */
export function findChecksums(frames: readonly Uint8Array[]): FoundChecksum[] {
  const fits: Checksum[] = [];
  const length = frames[0]!.length;
  for (const place of places(frames)) {
    for (const [from, to] of spans(place, length)) {
      for (const form of forms()) {
        if (form.octets !== place.octets || fits.length >= MOST_FORMS) continue;
        const c: Checksum = { ...form, ...place, from, to, final: 0 };
        const final = constantDifference(c, frames);
        if (final === null) continue;
        // A sum with a constant is looked for below; the others are linear, so any constant will do.
        if (c.kind === 'sum' && final !== 0) continue;
        fits.push(catalogued({ ...c, final }, frames[0]!));
      }
    }
  }
  fits.push(...complementedSums(frames));
  const ranked = fits.sort((a, b) => rank(a) - rank(b));
  const out = new Map<string, FoundChecksum>();
  for (const best of ranked) {
    const place = `${best.at} ${best.octets}`;
    if (out.has(place)) continue;
    const rivals = ranked.filter((c) => c.at === best.at && c.octets === best.octets);
    out.set(place, {
      checksum: alike(rivals, frames) ? best : null,
      octets: new Set(best.octets === 2 ? [best.at, best.at + 1] : [best.at]),
    });
  }
  return [...out.values()];
}

type Place = Pick<Checksum, 'at' | 'octets' | 'order'>;

function places(frames: readonly Uint8Array[]): Place[] {
  const out: Place[] = [];
  const length = frames[0]!.length;
  const enough = (p: Place) => new Set(frames.map((f) => storedChecksum(p, f))).size >= FEWEST_DIFFERENT;
  for (let at = 0; at < length; at++) {
    out.push({ at, octets: 1, order: 'big' });
    if (at + 1 < length) out.push({ at, octets: 2, order: 'little' }, { at, octets: 2, order: 'big' });
  }
  return out.filter(enough);
}

/** At the end: over what comes before, less a header; at the start: over what comes after, less a trailer. */
function spans({ at, octets }: Place, length: number): [number, number][] {
  const out: [number, number][] = [];
  if (2 * at >= length) for (let from = 0; from <= length / 3 && from + 2 <= at; from++) out.push([from, at]);
  else {
    const first = at + octets;
    for (let from = first; from <= first + 2; from++) {
      for (let to = Math.max(from + 2, length - 2); to <= length; to++) out.push([from, to]);
    }
  }
  return out;
}

type Form = Pick<Checksum, 'kind' | 'octets' | 'polynomial' | 'reflected' | 'start'>;

function forms(): Form[] {
  const plain = { polynomial: 0, reflected: false, start: 0 };
  const crcs = new Map<string, Form>();
  for (const { octets, polynomial, reflected } of CRC_FORMS) {
    crcs.set(`${octets} ${polynomial} ${reflected}`, {
      kind: 'crc',
      octets,
      polynomial,
      reflected,
      start: 0,
    });
  }
  return [
    { kind: 'sum', octets: 1, ...plain },
    { kind: 'sum', octets: 2, ...plain },
    { kind: 'xor', octets: 1, ...plain },
    ...crcs.values(),
  ];
}

/** The constant between the checksum stored and the one computed; null where it is none. */
function constantDifference(c: Checksum, frames: readonly Uint8Array[]): number | null {
  const difference = checksumOf(c, frames[0]!) ^ storedChecksum(c, frames[0]!);
  for (let i = 1; i < frames.length; i++) {
    if ((checksumOf(c, frames[i]!) ^ storedChecksum(c, frames[i]!)) !== difference) return null;
  }
  return difference;
}

/**
 * The catalogued form with the same effect: over a fixed number of octets, start and final value of a linear
 * checksum act as one constant.
 */
function catalogued(c: Checksum, frame: Uint8Array): Checksum {
  for (const { octets, polynomial, reflected, start, final } of CRC_FORMS) {
    if (c.octets !== octets || c.polynomial !== polynomial || c.reflected !== reflected) continue;
    const form = { ...c, start, final };
    if (checksumOf(form, frame) === storedChecksum(form, frame)) return form;
  }
  return c;
}

/** Sums sent as their ones' complement, their two's complement, or with a constant added. */
function complementedSums(frames: readonly Uint8Array[]): Checksum[] {
  const out: Checksum[] = [];
  const length = frames[0]!.length;
  for (const place of places(frames)) {
    const all = place.octets === 1 ? 0xff : 0xffff;
    for (const [from, to] of spans(place, length)) {
      const plain: Checksum = {
        kind: 'sum',
        ...place,
        from,
        to,
        polynomial: 0,
        reflected: false,
        start: 0,
        final: 0,
      };
      for (const final of [0, all]) {
        const offsets = frames.map((f) => ((storedChecksum(plain, f) ^ final) - checksumOf(plain, f)) & all);
        if (offsets.every((o) => o === offsets[0]) && (offsets[0] !== 0 || final !== 0)) {
          out.push({ ...plain, start: offsets[0]!, final });
        }
      }
    }
  }
  return out;
}

/** Whether its constants are the usual ones of its kind, rather than whatever fits these frames. */
export function isUsual(c: Checksum): boolean {
  if (c.kind === 'crc') {
    return CRC_FORMS.some(
      (f) =>
        f.polynomial === c.polynomial && f.octets === c.octets && f.start === c.start && f.final === c.final,
    );
  }
  const all = c.octets === 1 ? 0xff : 0xffff;
  // Plain, ones' complement, two's complement.
  return c.final === 0 ? c.start === 0 : c.final === all && (c.start === 0 || c.start === all);
}

/** Usual constants first, then the widest cover. */
function rank(c: Checksum): number {
  const kind = c.kind === 'sum' ? 0 : c.kind === 'xor' ? 1 : 2;
  const known = isUsual(c);
  const constant = known ? 0 : 20;
  // Where two octets fit, one of them alone fits too, but explains less.
  const place = c.octets === 2 && known ? -3 : c.kind === 'crc' ? 2 : 0;
  const start = c.to > c.at ? 6 : 0;
  return constant + kind + place + start - 0.5 * (c.to - c.from);
}

/** Whether all forms accept and refuse the same frames, as far as the octets that vary can tell. */
function alike(forms: readonly Checksum[], frames: readonly Uint8Array[]): boolean {
  const random = generator(7);
  const best = forms[0]!;
  for (let i = 0; i < 40; i++) {
    const frame = crossed(frames[i % frames.length]!, frames, null, random);
    const want = checksumOf(best, frame);
    if (forms.some((c) => checksumOf(c, frame) !== (c.order === best.order ? want : swapped(want))))
      return false;
  }
  return true;
}

function swapped(word: number): number {
  return ((word & 255) << 8) | (word >> 8);
}
