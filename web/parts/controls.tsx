import type { ComponentChildren, JSX } from 'preact';
import { useEffect, useId, useRef } from 'preact/hooks';

type Tone = 'main' | 'plain' | 'danger';

export interface ButtonProps {
  readonly onPress: () => void;
  readonly children: ComponentChildren;
  readonly tone?: Tone;
  readonly busy?: boolean;
  readonly disabled?: boolean;
  readonly pressed?: boolean;
  readonly label?: string;
  /** Enter in a field of the same form presses it. */
  readonly submits?: boolean;
}

/** A button large enough for a gloved thumb. While busy it keeps its place and its focus. */
export function Button(p: ButtonProps): JSX.Element {
  const idle = !p.busy && !p.disabled;
  return (
    <button
      type={p.submits ? 'submit' : 'button'}
      class={`button ${p.tone ?? 'plain'}`}
      aria-disabled={!idle}
      aria-busy={p.busy}
      aria-pressed={p.pressed}
      aria-label={p.label}
      onClick={(e) => {
        e.preventDefault();
        if (idle) p.onPress();
      }}
    >
      {p.children}
    </button>
  );
}

export function LinkButton(p: {
  readonly href: string;
  readonly children: ComponentChildren;
  readonly tone?: Tone;
  readonly download?: string;
}): JSX.Element {
  return (
    <a class={`button ${p.tone ?? 'plain'}`} href={p.href} download={p.download}>
      {p.children}
    </a>
  );
}

interface FieldFrame {
  readonly label: string;
  readonly hint?: string | undefined;
  readonly problem?: string | undefined;
}

interface FrameIds {
  readonly id: string;
  readonly described: string | undefined;
  readonly invalid: boolean;
}

function Field(p: FieldFrame & { readonly control: (ids: FrameIds) => JSX.Element }): JSX.Element {
  const id = useId();
  const hintId = `${id}-hint`;
  const problemId = `${id}-problem`;
  const described =
    [p.hint && hintId, p.problem && problemId].filter((x): x is string => Boolean(x)).join(' ') || undefined;
  return (
    <div class="field">
      <label for={id}>{p.label}</label>
      {p.control({ id, described, invalid: Boolean(p.problem) })}
      {p.hint && (
        <p id={hintId} class="quiet small">
          {p.hint}
        </p>
      )}
      {p.problem && (
        <p id={problemId} class="field-problem">
          {p.problem}
        </p>
      )}
    </div>
  );
}

export function TextField(
  p: FieldFrame & {
    readonly value: string;
    readonly onValue: (value: string) => void;
    readonly decimal?: boolean;
    readonly rows?: number;
    readonly maxLength?: number;
    readonly unit?: string;
  },
): JSX.Element {
  return (
    <Field
      {...p}
      control={({ id, described, invalid }) =>
        p.rows !== undefined ? (
          <textarea
            id={id}
            rows={p.rows}
            value={p.value}
            maxLength={p.maxLength}
            aria-describedby={described}
            aria-invalid={invalid}
            onInput={(e) => p.onValue(e.currentTarget.value)}
          />
        ) : (
          <span class="with-unit">
            <input
              id={id}
              type="text"
              inputMode={p.decimal ? 'decimal' : 'text'}
              autocomplete="off"
              value={p.value}
              maxLength={p.maxLength}
              aria-describedby={described}
              aria-invalid={invalid}
              onInput={(e) => p.onValue(e.currentTarget.value)}
            />
            {p.unit && <span class="unit">{p.unit}</span>}
          </span>
        )
      }
    />
  );
}

export function SelectField<T extends string>(
  p: FieldFrame & {
    readonly value: T;
    readonly options: readonly { readonly value: T; readonly label: string }[];
    readonly onValue: (value: T) => void;
  },
): JSX.Element {
  return (
    <Field
      {...p}
      control={({ id, described, invalid }) => (
        <select
          id={id}
          value={p.value}
          aria-describedby={described}
          aria-invalid={invalid}
          onChange={(e) => p.onValue(e.currentTarget.value as T)}
        >
          {p.options.map((o) => (
            <option key={o.value} value={o.value}>
              {o.label}
            </option>
          ))}
        </select>
      )}
    />
  );
}

/** A few choices side by side, one of which holds. */
export function Choice<T extends string>(p: {
  readonly legend: string;
  readonly value: T;
  readonly options: readonly { readonly value: T; readonly label: string }[];
  readonly onValue: (value: T) => void;
}): JSX.Element {
  const name = useId();
  return (
    <fieldset class="choice">
      <legend>{p.legend}</legend>
      <div class="choice-row">
        {p.options.map((o) => (
          <label key={o.value}>
            <input
              type="radio"
              name={name}
              value={o.value}
              checked={o.value === p.value}
              onChange={() => p.onValue(o.value)}
            />
            <span>{o.label}</span>
          </label>
        ))}
      </div>
    </fieldset>
  );
}

/** A question in front of everything else; Escape and the first button answer no. */
export function Confirm(p: {
  readonly title: string;
  readonly children: ComponentChildren;
  readonly yes: string;
  readonly onYes: () => void;
  readonly onNo: () => void;
  readonly busy?: boolean;
  readonly problem?: string | null;
}): JSX.Element {
  const dialog = useRef<HTMLDialogElement>(null);
  const titleId = useId();
  useEffect(() => {
    dialog.current?.showModal();
  }, []);
  return (
    <dialog
      ref={dialog}
      aria-labelledby={titleId}
      onCancel={(e) => {
        e.preventDefault();
        p.onNo();
      }}
    >
      <h2 id={titleId}>{p.title}</h2>
      <p>{p.children}</p>
      {p.problem && <p class="field-problem">{p.problem}</p>}
      <div class="row">
        <Button onPress={p.onNo}>Keep it</Button>
        <Button tone="danger" onPress={p.onYes} busy={p.busy ?? false}>
          {p.yes}
        </Button>
      </div>
    </dialog>
  );
}
