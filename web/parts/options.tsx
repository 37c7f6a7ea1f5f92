import type { JSX } from 'preact';
import { useState } from 'preact/hooks';
import type { AnalysisOptions } from '../../server/messages/findings.ts';
import { CHEMISTRY_WORDS } from '../state/caseForm.ts';
import { EMPTY_OPTIONS, checkOptions, type OptionsForm } from '../state/optionsForm.ts';
import { Button, SelectField, TextField } from './controls.tsx';

/** What the analysis may be told beyond the case; the findings are worked out again with it, and not stored. */
export function Options(p: { readonly onUse: (options: AnalysisOptions) => void }): JSX.Element {
  const [form, setForm] = useState<OptionsForm>(EMPTY_OPTIONS);
  const [errors, setErrors] = useState<Partial<Record<keyof OptionsForm, string>>>({});
  const field = (name: keyof OptionsForm) => ({
    value: form[name],
    problem: errors[name],
    onValue: (value: string) => setForm({ ...form, [name]: value }),
  });
  return (
    <details class="fold">
      <summary>Tell the analysis more</summary>
      <div class="fold-body">
        <p class="quiet">What is left empty comes from the case. Nothing here is stored.</p>
        <div class="form-grid">
          <TextField
            label="Meter accuracy"
            hint="As its data sheet prints it, for example 0.5%+3"
            {...field('meterAccuracy')}
          />
          <TextField
            label="Meter averaging time"
            unit="ms"
            decimal
            hint="Over how long one reading averages"
            {...field('apertureMs')}
          />
          <TextField label="Battery capacity" unit="Ah" decimal {...field('capacityAh')} />
          <SelectField
            label="Battery type"
            value={form.chemistry}
            options={[
              { value: '', label: 'As in the case' },
              ...Object.entries(CHEMISTRY_WORDS).map(([value, label]) => ({ value, label })),
            ]}
            onValue={(chemistry) => setForm({ ...form, chemistry: chemistry as OptionsForm['chemistry'] })}
          />
          <TextField label="Battery temperature" unit="°C" decimal {...field('temperatureC')} />
          <TextField label="Unreliable below" unit="V" decimal {...field('thresholdV')} />
          <TextField label="Draw limit" unit="mA" decimal {...field('drawLimitMA')} />
        </div>
        <div class="row">
          <Button
            tone="main"
            onPress={() => {
              const checked = checkOptions(form);
              setErrors(checked.ok ? {} : checked.errors);
              if (checked.ok) p.onUse(checked.options);
            }}
          >
            Work it out again
          </Button>
          <Button
            onPress={() => {
              setForm(EMPTY_OPTIONS);
              setErrors({});
              p.onUse({});
            }}
          >
            Back to the case's own
          </Button>
        </div>
      </div>
    </details>
  );
}
