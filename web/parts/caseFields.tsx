import type { JSX } from 'preact';
import { BATTERY_PLACES, CHEMISTRIES, EXPLANATIONS, FOB_CELLS } from '../../server/messages/car.ts';
import { vinLine } from '../state/caseFacts.ts';
import { CELL_WORDS, CHEMISTRY_WORDS, PLACE_WORDS, type CaseForm, type TextName } from '../state/caseForm.ts';
import { Choice, SelectField, TextField } from './controls.tsx';

/** What each part of the case form needs. */
export interface FieldsProps {
  readonly form: CaseForm;
  readonly change: (part: Partial<CaseForm>) => void;
  readonly text: (name: TextName) => {
    readonly value: string;
    readonly problem: string | undefined;
    readonly onValue: (value: string) => void;
  };
}

const NOT_KNOWN = { value: '', label: 'Not known' } as const;

export function CarFields({ form, change, text }: FieldsProps): JSX.Element {
  return (
    <>
      <TextField
        label="Name of the case"
        maxLength={120}
        hint="The car and the customer"
        {...text('title')}
      />
      <div class="form-grid">
        <TextField
          label="Plate or VIN"
          maxLength={120}
          hint={vinLine(form.plateOrVin) ?? undefined}
          {...text('plateOrVin')}
        />
        <TextField label="Asked by" maxLength={120} {...text('askedBy')} />
        <TextField label="Mileage" decimal maxLength={12} {...text('mileage')} />
        <Choice
          legend="Mileage in"
          value={form.mileageUnit}
          options={[
            { value: 'km' as const, label: 'km' },
            { value: 'mi' as const, label: 'miles' },
          ]}
          onValue={(mileageUnit) => change({ mileageUnit })}
        />
      </div>
    </>
  );
}

export function BatteryFields({ form, change, text }: FieldsProps): JSX.Element {
  return (
    <fieldset>
      <legend>Battery</legend>
      <div class="form-grid">
        <Choice
          legend="Which battery"
          value={form.role}
          options={[
            { value: 'main' as const, label: 'Main' },
            { value: 'auxiliary' as const, label: 'Auxiliary' },
          ]}
          onValue={(role) => change({ role })}
        />
        <SelectField
          label="Type"
          value={form.chemistry}
          options={[NOT_KNOWN, ...CHEMISTRIES.map((value) => ({ value, label: CHEMISTRY_WORDS[value] }))]}
          onValue={(chemistry) => change({ chemistry })}
        />
        <TextField label="Capacity" unit="Ah" decimal {...text('capacityAh')} />
        <TextField label="Age" unit="years" decimal {...text('ageYears')} />
        <SelectField
          label="Where it sits"
          value={form.place}
          options={[NOT_KNOWN, ...BATTERY_PLACES.map((value) => ({ value, label: PLACE_WORDS[value] }))]}
          onValue={(place) => change({ place })}
        />
      </div>
    </fieldset>
  );
}

export function FobFields({ form, change, text }: FieldsProps): JSX.Element {
  return (
    <fieldset>
      <legend>Fobs</legend>
      <div class="form-grid">
        <TextField label="How many" decimal maxLength={2} {...text('fobCount')} />
        <TextField
          label="Which fails"
          maxLength={120}
          hint="Both, the older one, none"
          {...text('fobFailing')}
        />
        <SelectField
          label="Cell of the fob"
          value={form.fobCell}
          options={FOB_CELLS.map((value) => ({ value, label: CELL_WORDS[value] }))}
          onValue={(fobCell) => change({ fobCell })}
        />
        <TextField
          label="Cell, measured"
          unit="V"
          decimal
          hint="Out of the fob; the open voltage of a worn cell still looks good"
          {...text('fobCellV')}
        />
      </div>
    </fieldset>
  );
}

/** Asked before anything is blamed. */
export function ExplanationFields({ form, change, text }: FieldsProps): JSX.Element {
  return (
    <fieldset>
      <legend>Before anything is blamed: what normal use could explain</legend>
      <div class="questions">
        <TextField
          label="How long had it stood before it failed?"
          unit="days"
          decimal
          {...text('parkedDays')}
        />
        {EXPLANATIONS.map(({ id, question, explains }) => (
          <div class="question" key={id}>
            <Choice
              legend={question}
              value={form.answers[id] ?? ''}
              options={[
                { value: 'yes', label: 'Yes' },
                { value: 'no', label: 'No' },
                { value: 'not-known', label: 'Not known' },
              ]}
              onValue={(answer) => answer !== '' && change({ answers: { ...form.answers, [id]: answer } })}
            />
            {form.answers[id] === 'yes' && (
              <TextField
                label="More about it"
                maxLength={120}
                hint={explains}
                value={form.answerNotes[id] ?? ''}
                onValue={(note) => change({ answerNotes: { ...form.answerNotes, [id]: note } })}
              />
            )}
          </div>
        ))}
      </div>
    </fieldset>
  );
}

export function LimitFields({ text }: FieldsProps): JSX.Element {
  return (
    <fieldset>
      <legend>Limits of this car</legend>
      <div class="form-grid">
        <TextField
          label="Unreliable below"
          unit="V"
          decimal
          hint="Empty: the usual figure, or what the tries showed"
          {...text('thresholdV')}
        />
        <TextField
          label="Draw limit"
          unit="mA"
          decimal
          hint="Empty: 50 mA. The maker's figure goes first."
          {...text('drawLimitMA')}
        />
      </div>
    </fieldset>
  );
}
