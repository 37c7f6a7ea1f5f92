import type { JSX } from 'preact';
import { useRef, useState } from 'preact/hooks';
import { EMPTY_METER_RECORD, type MeterRecord } from '../../server/messages/meterRecord.ts';
import type { Meter } from '../../server/messages/meters.ts';
import { meterApi } from '../state/meterApi.ts';
import {
  checkMeterForm,
  meterFormOf,
  type MeterForm,
  type MeterFormErrors,
  type MeterText,
} from '../state/meterForm.ts';
import { Button, SelectField, TextField } from './controls.tsx';
import { useAction, useLoad } from './hooks.ts';
import { Certificate, Ranges } from './meterRows.tsx';
import { useServices } from './services.ts';
import { Problem, Waiting } from './words.tsx';

/** Label, data sheet and certificate of one meter, as the next recording takes them along. */
export function MeterRecordPart(p: { readonly meter: Meter }): JSX.Element {
  const { api } = useServices();
  // Wrapped: no record yet is an answer too.
  const kept = useLoad<{ record: MeterRecord | null }>(`meter record ${p.meter.key}`, async () => ({
    record: await meterApi(api).record(p.meter.key),
  }));
  if (kept.value !== null)
    return <Form meter={p.meter} first={meterFormOf(kept.value.record ?? EMPTY_METER_RECORD)} />;
  if (kept.problem === null) return <Waiting>Reading the record.</Waiting>;
  return <Problem sentence={kept.problem} onRetry={kept.reload} />;
}

function Form(p: { readonly meter: Meter; readonly first: MeterForm }): JSX.Element {
  const { api } = useServices();
  const { meter } = p;
  const [form, setForm] = useState(p.first);
  const [errors, setErrors] = useState<MeterFormErrors>({});
  const [saved, setSaved] = useState(false);
  const saving = useAction();
  const element = useRef<HTMLFormElement>(null);
  const change = (part: Partial<MeterForm>): void => {
    setSaved(false);
    setForm((before) => ({ ...before, ...part }));
  };
  const field = (name: MeterText) => ({
    value: form[name],
    problem: errors[name],
    onValue: (value: string) => change({ [name]: value }),
  });
  const said = (part: 'maker' | 'model' | 'serial' | 'firmware') => {
    const text = meter.details?.[part] ?? null;
    return text === null ? undefined : `Empty: as the meter says, ${text}`;
  };
  const save = (): void => {
    const checked = checkMeterForm(form);
    setErrors(checked.ok ? {} : checked.errors);
    if (!checked.ok) {
      requestAnimationFrame(() =>
        element.current?.querySelector<HTMLElement>('[aria-invalid="true"]')?.focus(),
      );
      return;
    }
    saving.run(async () => {
      const { record } = await meterApi(api).writeRecord(meter.key, checked.record);
      setForm(meterFormOf(record));
      setSaved(true);
    });
  };
  const cell = meter.details?.cellPercent ?? null;
  return (
    <form ref={element} class="form" noValidate onSubmit={(e) => e.preventDefault()}>
      <p class="quiet">
        {cell !== null && `The meter’s own battery: ${cell} %. `}A recording keeps this record as it is when
        it starts.
      </p>
      <div class="form-grid">
        <TextField label="Name" maxLength={120} hint={`Empty: ${meter.name}`} {...field('name')} />
        <TextField label="Maker" maxLength={120} hint={said('maker')} {...field('maker')} />
        <TextField label="Model" maxLength={120} hint={said('model')} {...field('model')} />
        <TextField label="Serial number" maxLength={120} hint={said('serial')} {...field('serial')} />
        <TextField label="Firmware" maxLength={120} hint={said('firmware')} {...field('firmware')} />
      </div>
      <fieldset>
        <legend>Data sheet</legend>
        <div class="form-grid">
          <TextField
            label="Averaging time of one reading"
            unit="ms"
            decimal
            hint="Its aperture or integration time"
            {...field('apertureMs')}
          />
          <TextField label="Readings a second" decimal {...field('ratePerS')} />
        </div>
        <Ranges meter={meter} rows={form.ranges} errors={errors} onRows={(ranges) => change({ ranges })} />
      </fieldset>
      <fieldset>
        <legend>Calibration certificate</legend>
        <div class="form-grid">
          <TextField label="Certificate number" maxLength={120} {...field('number')} />
          <TextField label="Date of calibration" hint="For example 2026-03-01" {...field('date')} />
          <TextField label="Laboratory" maxLength={120} {...field('laboratory')} />
        </div>
        <Certificate meter={meter} rows={form.lines} errors={errors} onRows={(lines) => change({ lines })} />
      </fieldset>
      {meter.source === 'server' && (
        <fieldset>
          <legend>A meter that sends text</legend>
          <div class="form-grid">
            <TextField
              label="Question"
              hint="Only where it answers on request, for example READ?"
              {...field('queryText')}
            />
            <TextField label="Asked every" unit="ms" decimal hint="20 to 60000" {...field('queryMs')} />
            <SelectField
              label="A bare number means"
              value={form.unitless}
              hint="Where the meter tells no unit"
              options={[
                { value: '', label: 'The meter tells its unit' },
                { value: 'voltage', label: 'V' },
                { value: 'current', label: 'A' },
                { value: 'temperature', label: '°C' },
              ]}
              onValue={(unitless) => change({ unitless })}
            />
          </div>
          <p class="quiet">Holds from the next connection on.</p>
        </fieldset>
      )}
      <Problem sentence={saving.problem} />
      {Object.keys(errors).length > 0 && (
        <p class="field-problem" role="alert">
          Not saved: what is marked cannot be read.
        </p>
      )}
      <div class="row">
        <Button tone="main" submits busy={saving.busy} onPress={save}>
          Save the record
        </Button>
        <span role="status">{saved ? 'Saved.' : ''}</span>
      </div>
    </form>
  );
}
