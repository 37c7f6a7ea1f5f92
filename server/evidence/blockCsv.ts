import { FLOAT32, FLOAT64, isLive, type Quantity } from '../../drivers/core/reading.ts';
import { ColumnBuilder } from '../samples/builder.ts';
import { ByteText } from '../samples/byteText.ts';
import type { SampleColumns } from '../samples/columns.ts';
import { flagsText, readFlags } from '../samples/text.ts';
import { sameOctets, textOfUtf8 } from './octets.ts';

/**
 * A block of samples as it is hashed: a CSV with seconds from the recording's start and one column a channel with
 * the meter's own digits (FORMAT.md). The same samples always give the same octets, and the octets the same samples.
 */

const COMMA = 0x2c;
const LF = 0x0a;

const NAME: Readonly<Record<Quantity, readonly [string, string]>> = {
  current: ['current', 'A'],
  voltage: ['voltage', 'V'],
  temperature: ['temperature', 'degC'],
};

export interface BlockChannel {
  readonly quantity: Quantity;
  readonly columns: SampleColumns;
}

export function encodeBlockCsv(channels: readonly BlockChannel[]): Uint8Array {
  const flagged = channels.map(
    ({ columns: c }) => c.flags.some((f) => f !== 0) || c.scale.some((s) => s > 125),
  );
  const columns = channels.map((c) => c.columns);
  const longest = columns.reduce((n, c) => Math.max(n, c.length), 0);
  const out = new ByteText(256 + longest * (10 + 8 * columns.length));
  out.ascii(
    header(
      channels.map((c) => c.quantity),
      flagged,
    ),
  );
  const next = columns.map(() => 0);
  for (;;) {
    out.byte(LF);
    let t = Infinity;
    for (let k = 0; k < columns.length; k++) {
      const { t: times, length } = columns[k]!;
      if (next[k]! < length) t = Math.min(t, times[next[k]!]!);
    }
    if (t === Infinity) return out.written();
    out.seconds(t);
    for (let k = 0; k < columns.length; k++) {
      const c = columns[k]!;
      const i = next[k]!;
      out.byte(COMMA);
      if (i < c.length && Object.is(c.t[i], t)) {
        sampleFields(out, c, i, flagged[k]!);
        next[k] = i + 1;
      } else if (flagged[k]!) out.byte(COMMA);
    }
  }
}

function header(quantities: readonly Quantity[], flagged: readonly boolean[]): string {
  const seen = new Map<string, number>();
  const names = quantities.flatMap((quantity, k) => {
    const n = (seen.get(quantity) ?? 0) + 1;
    seen.set(quantity, n);
    const [word, unit] = NAME[quantity];
    const name = `${word}${n === 1 ? '' : n}_${unit}`;
    return flagged[k] ? [name, `${name} flags`] : [name];
  });
  return ['time_s', ...names].join(',');
}

function sampleFields(out: ByteText, c: SampleColumns, i: number, flagged: boolean): void {
  const [counts, scale, flags] = [c.counts[i]!, c.scale[i]!, c.flags[i]!];
  if (!flagged) return out.number(counts, scale);
  if (isLive(flags)) out.number(counts, scale);
  out.byte(COMMA);
  out.ascii(flagsText(counts, scale, flags));
}

/**
 * Reads a block back; it takes nothing but what `encodeBlockCsv` writes.
 * @throws RangeError
 */
export function decodeBlockCsv(octets: Uint8Array): BlockChannel[] {
  const lines = textOfUtf8(octets).split('\n');
  const names = lines[0]!.split(',');
  const channels: { quantity: Quantity; builder: ColumnBuilder; field: number; flags: number }[] = [];
  names.forEach((name, field) => {
    const word = /^(current|voltage|temperature)\d*_(?:A|V|degC)$/.exec(name)?.[1];
    if (word === undefined) return;
    const flags = names[field + 1] === `${name} flags` ? field + 1 : -1;
    channels.push({ quantity: word as Quantity, builder: new ColumnBuilder(), field, flags });
  });
  for (let row = 1; row < lines.length - 1; row++) {
    const cells = lines[row]!.split(',');
    const t = millisecondsOf(cells[0]!);
    for (const { builder, field, flags } of channels) {
      const words = flags < 0 ? null : readFlags(cells[flags] ?? '');
      const text = words?.value ?? cells[field] ?? '';
      if (text === '') continue;
      const [counts, scale] = numberOf(text, words?.float ?? null);
      builder.push(t, counts, scale, words?.flags ?? 0);
    }
  }
  const out = channels.map(({ quantity, builder }) => ({ quantity, columns: builder.columns() }));
  if (!sameOctets(encodeBlockCsv(out), octets))
    throw new RangeError('not a block of samples as it is written');
  return out;
}

/** The inverse of `secondsText`: the decimal point moves, nothing is rounded twice. */
function millisecondsOf(text: string): number {
  const [, sign = '', whole = '', part = '', power = '0'] =
    /^(-?)(\d+)(?:\.(\d+))?(?:e([-+]?\d+))?$/.exec(text) ?? [];
  if (whole === '') throw new RangeError('not a time');
  return Number(`${sign}${whole}${part.padEnd(3, '0')}e${Number(power) + 3 - Math.max(3, part.length)}`);
}

function numberOf(text: string, float: number | null): readonly [number, number] {
  if (float === FLOAT32 || float === FLOAT64) return [Number(text), float];
  const [, sign = '', whole = '', part = '', power = '0'] =
    /^(-?)(\d+)(?:\.(\d+))?(?:e(\d+))?$/.exec(text) ?? [];
  const counts = Number(`${sign}${whole}${part}`);
  if (whole === '' || !Number.isSafeInteger(counts)) throw new RangeError('not a reading');
  return [counts, Number(power) - part.length];
}
