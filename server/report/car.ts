import { EXPLANATIONS, type Asked, type Battery, type Fobs } from '../messages/car.ts';
import type { Case } from '../messages/records.ts';
import { vinNote } from '../messages/vin.ts';

/** What the case says of the car, its battery and its fobs: name and text, nothing where nothing is known. */
export function carRows(c: Case): (readonly [string, string])[] {
  const rows: readonly (readonly [string, string])[] = [
    ['Case', c.title],
    ['Plate or VIN', plateLine(c.plateOrVin)],
    ['Mileage', c.mileage === null ? '' : `${c.mileage.value.toLocaleString('en-GB')} ${c.mileage.unit}`],
    ['Asked by', c.askedBy],
    ['Complaint', c.complaint],
    ['Battery', c.battery === null ? '' : batteryLine(c.battery)],
    ['Fobs', c.fobs === null ? '' : fobLine(c.fobs)],
    ['Asked beforehand', c.asked === null ? '' : askedLine(c.asked)],
  ];
  return rows.filter(([, text]) => text !== '');
}

/** The check digit is a note only. */
function plateLine(text: string): string {
  const note = vinNote(text);
  return note.isVin && note.checkDigit === 'differs' ? `${text} (${note.sentence})` : text;
}

const PLACES: Readonly<Record<NonNullable<Battery['place']>, string>> = {
  'engine-bay': 'in the engine bay',
  boot: 'in the boot',
  'under-seat': 'under a seat',
  footwell: 'in a footwell',
  elsewhere: 'elsewhere in the car',
};

function batteryLine({ role, chemistry, capacityAh, ageYears, place }: Battery): string {
  return [
    role,
    chemistry === null ? 'technology not known' : chemistry.toUpperCase(),
    capacityAh === null ? '' : `${capacityAh} Ah`,
    ageYears === null ? '' : `${ageYears} ${ageYears === 1 ? 'year' : 'years'} old`,
    place === null ? '' : PLACES[place],
  ]
    .filter(Boolean)
    .join(', ');
}

const CELLS: Readonly<Record<Fobs['cell'], string>> = {
  'not-checked': 'cell not checked',
  good: 'cell good',
  weak: 'cell weak',
  new: 'cell new',
};

function fobLine({ count, failing, cell, cellV }: Fobs): string {
  return [
    count === null ? '' : String(count),
    failing === '' ? '' : `failing: ${failing}`,
    cellV === null ? CELLS[cell] : `${CELLS[cell]}, ${cellV} V`,
  ]
    .filter(Boolean)
    .join(', ');
}

function askedLine({ parkedDays, answers }: Asked): string {
  const said = EXPLANATIONS.flatMap(({ id, question }) => {
    const a = answers[id];
    return a === undefined
      ? []
      : [
          `${question} ${{ yes: 'Yes', no: 'No', 'not-known': 'Not known' }[a.answer]}${a.note && ` (${a.note})`}.`,
        ];
  });
  const parked = parkedDays === null ? [] : [`Parked for ${parkedDays} days before it failed.`];
  return [...parked, ...said].join(' ');
}
