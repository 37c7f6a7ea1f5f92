import type { JSX } from 'preact';
import { UNIT, type Quantity } from '../../drivers/core/reading.ts';
import type { Meter } from '../../server/messages/meters.ts';
import {
  emptyLine,
  emptyRange,
  type CertificateLineForm,
  type MeterFormErrors,
  type RangeForm,
} from '../state/meterForm.ts';
import { Button, SelectField, TextField } from './controls.tsx';

/** Rows of a meter's record: ranges of the data sheet, lines of the certificate. */

const QUANTITIES = [
  { value: 'voltage', label: 'Voltage' },
  { value: 'current', label: 'Current' },
  { value: 'temperature', label: 'Temperature' },
] as const;

interface RowsProps<Row> {
  readonly meter: Meter;
  readonly rows: readonly Row[];
  readonly errors: MeterFormErrors;
  readonly onRows: (rows: readonly Row[]) => void;
}

/** What a new row is about: what the meter measures. */
const ownQuantity = (meter: Meter): Quantity => meter.channels[0]?.quantity ?? 'current';
const unitOf = (quantity: Quantity): string => (quantity === 'temperature' ? '°C' : UNIT[quantity]);

/** Fields of one row, and what takes it away. */
function editing<Row>(p: RowsProps<Row>, i: number, at: string) {
  const change = (part: Partial<Row>): void =>
    p.onRows(p.rows.map((row, k) => (k === i ? { ...row, ...part } : row)));
  return {
    change,
    field: (name: keyof Row & string) => ({
      value: String(p.rows[i]![name]),
      problem: p.errors[`${at}.${i}.${name}`],
      onValue: (value: string) => change({ [name]: value } as unknown as Partial<Row>),
    }),
    remove: () => p.onRows(p.rows.filter((_, k) => k !== i)),
  };
}

export function Ranges(p: RowsProps<RangeForm>): JSX.Element {
  return (
    <>
      {p.rows.map((row, i) => {
        const { change, field, remove } = editing(p, i, 'ranges');
        return (
          <div key={i} class="meter-row" role="group" aria-label={`Range ${i + 1}`}>
            <SelectField
              label="Range of"
              value={row.quantity}
              options={QUANTITIES}
              onValue={(quantity) => change({ quantity })}
            />
            <TextField label="Up to" unit={unitOf(row.quantity)} decimal {...field('upTo')} />
            <TextField label="Accuracy" hint="As printed: 0.5 % + 3 digits" {...field('accuracy')} />
            <TextField
              label="Last digit"
              unit={unitOf(row.quantity)}
              decimal
              hint="Empty: as the readings show"
              {...field('digit')}
            />
            <Button label={`Remove range ${i + 1}`} onPress={remove}>
              Remove
            </Button>
          </div>
        );
      })}
      {p.rows.length < 32 && (
        <div class="row">
          <Button
            onPress={() => p.onRows([...p.rows, emptyRange(p.rows.at(-1)?.quantity ?? ownQuantity(p.meter))])}
          >
            Add a range
          </Button>
        </div>
      )}
    </>
  );
}

export function Certificate(p: RowsProps<CertificateLineForm>): JSX.Element {
  return (
    <>
      {p.rows.map((row, i) => {
        const { change, field, remove } = editing(p, i, 'lines');
        return (
          <div key={i} class="meter-row" role="group" aria-label={`Certified ${row.quantity}`}>
            <SelectField
              label="Certified"
              value={row.quantity}
              options={QUANTITIES}
              problem={p.errors[`lines.${i}.quantity`]}
              onValue={(quantity) => change({ quantity })}
            />
            <TextField label="Uncertainty" unit={unitOf(row.quantity)} decimal {...field('fixed')} />
            <TextField label="and of the reading" unit="%" decimal {...field('percent')} />
            <TextField label="k" decimal hint="Coverage factor, mostly 2" {...field('k')} />
            <TextField label="As found" maxLength={120} {...field('asFound')} />
            <TextField label="As left" maxLength={120} {...field('asLeft')} />
            <Button label={`Remove certified ${row.quantity}`} onPress={remove}>
              Remove
            </Button>
          </div>
        );
      })}
      {p.rows.length < QUANTITIES.length && (
        <div class="row">
          <Button
            onPress={() => {
              const free = [ownQuantity(p.meter), ...QUANTITIES.map((q) => q.value)].find(
                (q) => !p.rows.some((row) => row.quantity === q),
              );
              p.onRows([...p.rows, emptyLine(free!)]);
            }}
          >
            Add what is certified
          </Button>
        </div>
      )}
    </>
  );
}
