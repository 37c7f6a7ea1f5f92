import { DriverError } from '../../core/errors.ts';
import { FLAG, plausible, type Quantity, type Reading } from '../../core/reading.ts';
import type { Framer, Framing } from '../byte-stream/framing.ts';
import { decodeLine, type MeterLine } from './frame.ts';

const LONGEST_LINE = 200;
const [CR, LF] = [0x0d, 0x0a];

const WORD_FLAGS: Readonly<Record<string, number>> = {
  AC: FLAG.ac,
  HOLD: FLAG.hold,
  REL: FLAG.relative,
  MAX: FLAG.minMax,
  MIN: FLAG.minMax,
  LOWBAT: FLAG.meterCellLow,
};

/** The line as a reading; null where it is neither volts nor amperes. */
export function lineReading(line: MeterLine, unitless: Quantity | null): Reading | null {
  const quantity = line.quantity ?? unitless;
  if (quantity === null || quantity === 'other') return null;
  const flags = line.words.reduce((sum, word) => sum | (WORD_FLAGS[word] ?? 0), 0);
  if (line.number === 'no-reading') return { quantity, counts: 0, scale: 0, flags: flags | FLAG.none };
  if (line.number === 'over-range') return { quantity, counts: 0, scale: 0, flags: flags | FLAG.overload };
  return { quantity, ...plausible(line.number), flags };
}

/** Lines of ASCII text ended by LF (or CR LF), a figure each; `unitless` is what a bare number means. */
export function textLines(unitless: Quantity | null = null): Framing {
  return {
    id: 'text-lines',
    title: 'Text lines',
    create(): Framer {
      let held = '';
      return {
        push(bytes) {
          const out: (Reading | null)[] = [];
          let broken: DriverError | null = null;
          for (const octet of bytes) {
            if (octet !== LF && octet !== CR) {
              held += String.fromCharCode(octet);
              if (held.length <= LONGEST_LINE) continue;
              broken = new DriverError('wrong-length', 'The line is longer than any reading.');
              held = '';
              continue;
            }
            const line = held;
            held = '';
            if (line.trim() === '') continue;
            try {
              for (const part of line.split(/[;,]/)) out.push(lineReading(decodeLine(part), unitless));
            } catch (error) {
              if (!(error instanceof DriverError)) throw error;
              broken = error;
            }
          }
          if (broken !== null && out.length === 0) throw broken;
          return out;
        },
      };
    },
  };
}
