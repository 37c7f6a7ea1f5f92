import type { JSX } from 'preact';
import { useRef, useState } from 'preact/hooks';
import type { Case } from '../../server/messages/records.ts';
import { vinNote } from '../../server/messages/vin.ts';
import {
  CHEMISTRY_WORDS,
  checkForm,
  EMPTY_CASE,
  formOf,
  type CaseForm,
  type FormErrors,
} from '../state/caseForm.ts';
import { hashOf } from '../state/route.ts';
import { Button, LinkButton, SelectField, TextField } from '../parts/controls.tsx';
import { useAction, useLoad } from '../parts/hooks.ts';
import { useServices } from '../parts/services.ts';
import { PageTitle, Problem, Waiting } from '../parts/words.tsx';

/** A new case, or an existing one to change. */
export function CaseEditPage(p: { readonly id: string | null }): JSX.Element {
  const { api } = useServices();
  const loaded = useLoad<Case>(p.id, () => api.getCase(p.id!));
  if (p.id === null) return <Form id={null} first={EMPTY_CASE} />;
  if (loaded.value !== null) return <Form id={p.id} first={formOf(loaded.value)} />;
  if (loaded.problem === null) return <Waiting>Reading the case.</Waiting>;
  return (
    <>
      <PageTitle title="Edit the case" />
      <Problem sentence={loaded.problem} onRetry={loaded.reload} />
    </>
  );
}

function Form(p: { readonly id: string | null; readonly first: CaseForm }): JSX.Element {
  const { api } = useServices();
  const [form, setForm] = useState(p.first);
  const [errors, setErrors] = useState<FormErrors>({});
  const saving = useAction();
  const element = useRef<HTMLFormElement>(null);
  const text = (name: keyof CaseForm) => ({
    value: form[name],
    problem: errors[name],
    onValue: (value: string) => setForm((f) => ({ ...f, [name]: value })),
  });
  const vin =
    form.plateOrVin.replace(/[\s-]/g, '').length === 17 ? vinNote(form.plateOrVin).sentence : undefined;
  const save = (): void => {
    const checked = checkForm(form);
    setErrors(checked.ok ? {} : checked.errors);
    if (!checked.ok) {
      requestAnimationFrame(() =>
        element.current?.querySelector<HTMLElement>('[aria-invalid="true"]')?.focus(),
      );
      return;
    }
    saving.run(async () => {
      const saved =
        p.id === null ? await api.createCase(checked.input) : await api.updateCase(p.id, checked.input);
      location.hash = hashOf({ page: 'case', id: saved.id });
    });
  };
  return (
    <>
      <PageTitle title={p.id === null ? 'New case' : 'Edit the case'} />
      <form ref={element} class="form" noValidate onSubmit={(e) => e.preventDefault()}>
        <TextField label="Name of the case" maxLength={120} hint="The car and who asked" {...text('title')} />
        <TextField label="Plate or VIN" maxLength={120} hint={vin} {...text('plateOrVin')} />
        <TextField
          label="Complaint"
          rows={3}
          maxLength={4000}
          hint="In the customer's words: what does the door do, when, since when?"
          {...text('complaint')}
        />
        <fieldset>
          <legend>Battery</legend>
          <div class="form-grid">
            <SelectField
              label="Type"
              value={form.chemistry}
              options={[
                { value: '' as const, label: 'Not known' },
                ...Object.entries(CHEMISTRY_WORDS).map(([value, label]) => ({
                  value: value as CaseForm['chemistry'],
                  label,
                })),
              ]}
              onValue={(chemistry) => setForm((f) => ({ ...f, chemistry }))}
            />
            {form.chemistry !== '' && (
              <>
                <TextField label="Capacity" unit="Ah" decimal {...text('capacityAh')} />
                <SelectField
                  label="Which battery"
                  value={form.role}
                  options={[
                    { value: 'main' as const, label: 'Main' },
                    { value: 'auxiliary' as const, label: 'Auxiliary' },
                  ]}
                  onValue={(role) => setForm((f) => ({ ...f, role }))}
                />
              </>
            )}
          </div>
        </fieldset>
        <fieldset>
          <legend>Limits of this car</legend>
          <div class="form-grid">
            <TextField
              label="Unreliable below"
              unit="V"
              decimal
              hint="Empty: the usual figure"
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
        <TextField
          label="Notes"
          rows={4}
          maxLength={4000}
          hint="What normal storage or a fob left nearby could explain comes before any blame"
          {...text('notes')}
        />
        <Problem sentence={saving.problem} />
        <div class="row">
          <Button tone="main" submits busy={saving.busy} onPress={save}>
            Save the case
          </Button>
          <LinkButton href={p.id === null ? '#/cases' : hashOf({ page: 'case', id: p.id })}>
            Cancel
          </LinkButton>
        </div>
      </form>
    </>
  );
}
