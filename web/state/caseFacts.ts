import { EXPLANATIONS, type ExplanationId } from '../../server/messages/car.ts';
import type { Case } from '../../server/messages/records.ts';
import { vinNote } from '../../server/messages/vin.ts';
import { CELL_WORDS, CHEMISTRY_WORDS, PLACE_WORDS } from './caseForm.ts';

export interface Fact {
  readonly name: string;
  readonly text: string;
  /** Said beside it, smaller. */
  readonly note: string | null;
}

/** A line about the VIN while it may be one; null for a plate. The check digit is a note, never an error. */
export function vinLine(plateOrVin: string): string | null {
  return plateOrVin.replace(/[\s-]/g, '').length === 17 ? vinNote(plateOrVin).sentence : null;
}

/** What is known of the car, in the order in which it is asked for. */
export function caseFacts(c: Case): Fact[] {
  const facts: [string, string | null, (string | null)?][] = [
    ['Complaint', c.complaint || null],
    ['Plate or VIN', c.plateOrVin || null, vinLine(c.plateOrVin)],
    ['Asked by', c.askedBy || null],
    [
      'Mileage',
      c.mileage === null
        ? null
        : `${c.mileage.value.toLocaleString('en-GB').replaceAll(',', '\u202f')} ${c.mileage.unit}`,
    ],
    ['Battery', batteryText(c)],
    ['Fobs', fobsText(c)],
    ['Unreliable below', c.thresholdV === null ? null : `${c.thresholdV} V`],
    ['Draw limit', c.drawLimitA === null ? null : `${Number((c.drawLimitA * 1000).toPrecision(6))} mA`],
    ['Notes', c.notes || null],
  ];
  return facts.flatMap(([name, text, note = null]) => (text === null ? [] : [{ name, text, note }]));
}

/** "Auxiliary battery: AGM, 70 Ah, 4 years old, boot", or null where nobody said. */
export function batteryText({ battery }: Case): string | null {
  if (battery === null) return null;
  const { chemistry, capacityAh, ageYears, place, role } = battery;
  const parts = [
    chemistry === null ? '' : CHEMISTRY_WORDS[chemistry],
    capacityAh === null ? '' : `${capacityAh} Ah`,
    ageYears === null ? '' : `${ageYears} ${ageYears === 1 ? 'year' : 'years'} old`,
    place === null ? '' : PLACE_WORDS[place].toLowerCase(),
  ].filter(Boolean);
  const name = role === 'main' ? 'Main battery' : 'Auxiliary battery';
  return parts.length === 0 ? name : `${name}: ${parts.join(', ')}`;
}

/** "2 fobs; fails with the older one; cell weak, 2.71 V", or null where nobody said. */
export function fobsText({ fobs }: Case): string | null {
  if (fobs === null) return null;
  const cell = [
    fobs.cell === 'not-checked' ? '' : CELL_WORDS[fobs.cell].toLowerCase(),
    fobs.cellV === null ? '' : `${fobs.cellV} V`,
  ].filter(Boolean);
  const text = [
    fobs.count === null ? '' : fobs.count === 1 ? '1 fob' : `${fobs.count} fobs`,
    fobs.failing === '' ? '' : `fails with ${fobs.failing}`,
    cell.length === 0 ? '' : `cell ${cell.join(', ')}`,
  ]
    .filter(Boolean)
    .join('; ');
  return text === '' ? null : text.charAt(0).toUpperCase() + text.slice(1);
}

export interface ExplanationView {
  /** What was answered with yes: each may explain the complaint without a fault. */
  readonly may: readonly {
    readonly id: ExplanationId | 'parked';
    readonly what: string;
    readonly explains: string;
  }[];
  readonly ruledOut: number;
  readonly open: number;
}

/** So long parked that a battery rests low without a fault; common practice of the trade, no source. */
const LONG_PARKED_DAYS = 7;

/** What normal use or a fob nearby could explain, as far as it was asked. */
export function explanationsOf({ asked }: Case): ExplanationView {
  const answers = asked?.answers ?? {};
  const days = asked?.parkedDays ?? null;
  const long = days !== null && days >= LONG_PARKED_DAYS;
  return {
    may: [
      ...(long
        ? [
            {
              id: 'parked' as const,
              what: `It stood for ${days} days.`,
              explains:
                'Every battery falls over weeks of standing, with no more draw than the maker allows.',
            },
          ]
        : []),
      ...EXPLANATIONS.filter((e) => answers[e.id]?.answer === 'yes').map(({ id, question, explains }) => {
        const note = answers[id]!.note;
        return { id, what: `${question} Yes${note === '' ? '.' : `: ${note}.`}`, explains };
      }),
    ],
    ruledOut:
      EXPLANATIONS.filter((e) => answers[e.id]?.answer === 'no').length + (days !== null && !long ? 1 : 0),
    open:
      EXPLANATIONS.filter((e) => (answers[e.id]?.answer ?? 'not-known') === 'not-known').length +
      (days === null ? 1 : 0),
  };
}
