import type { JSX } from 'preact';
import { useRef, useState } from 'preact/hooks';
import type { Case } from '../../server/messages/records.ts';
import { checkForm, EMPTY_CASE, formOf, type CaseForm, type FormErrors } from '../state/caseForm.ts';
import { draftKey, draftOver, draftText } from '../state/drafts.ts';
import { hashOf } from '../state/route.ts';
import {
  BatteryFields,
  CarFields,
  ExplanationFields,
  FobFields,
  LimitFields,
  type FieldsProps,
} from '../parts/caseFields.tsx';
import { Button, TextField } from '../parts/controls.tsx';
import { useAction, useLoad } from '../parts/hooks.ts';
import { keptText } from '../parts/keptText.ts';
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
  const key = draftKey(p.id);
  const [kept] = useState(() => draftOver(p.first, keptText.get(key)));
  const [form, setForm] = useState(kept);
  const [restored, setRestored] = useState(draftText(kept, p.first) !== null);
  const [errors, setErrors] = useState<FormErrors>({});
  const saving = useAction();
  const element = useRef<HTMLFormElement>(null);

  const change = (part: Partial<CaseForm>): void =>
    setForm((before) => {
      const next = { ...before, ...part };
      keptText.set(key, draftText(next, p.first));
      return next;
    });
  const leave = (hash: string): void => {
    keptText.set(key, null);
    location.hash = hash;
  };
  const fields: FieldsProps = {
    form,
    change,
    text: (name) => ({
      value: form[name],
      problem: errors[name],
      onValue: (value) => change({ [name]: value }),
    }),
  };
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
      leave(hashOf({ page: 'case', id: saved.id }));
    });
  };
  return (
    <>
      <PageTitle title={p.id === null ? 'New case' : 'Edit the case'} />
      {restored && (
        <div class="message draft" role="status">
          <p>What you wrote before and did not save is here again.</p>
          <Button
            onPress={() => {
              keptText.set(key, null);
              setForm(p.first);
              setRestored(false);
            }}
          >
            Begin anew
          </Button>
        </div>
      )}
      <form ref={element} class="form case-form" noValidate onSubmit={(e) => e.preventDefault()}>
        <CarFields {...fields} />
        <TextField
          label="Complaint"
          rows={3}
          maxLength={4000}
          hint="In the customer's words: what does the door do, when, since when?"
          {...fields.text('complaint')}
        />
        <BatteryFields {...fields} />
        <FobFields {...fields} />
        <ExplanationFields {...fields} />
        <LimitFields {...fields} />
        <TextField label="Notes" rows={4} maxLength={4000} {...fields.text('notes')} />
        <div class="form-end">
          <Problem sentence={saving.problem} />
          {Object.keys(errors).length > 0 && (
            <p class="field-problem" role="alert">
              {Object.keys(errors).length === 1
                ? 'One field is not right yet.'
                : `${Object.keys(errors).length} fields are not right yet.`}
            </p>
          )}
          <div class="row">
            <Button tone="main" submits busy={saving.busy} onPress={save}>
              Save the case
            </Button>
            <Button onPress={() => leave(p.id === null ? '#/cases' : hashOf({ page: 'case', id: p.id }))}>
              Cancel
            </Button>
          </div>
        </div>
      </form>
    </>
  );
}
