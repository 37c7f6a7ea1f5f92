import type { ComponentChildren, JSX } from 'preact';
import { useEffect, useRef } from 'preact/hooks';
import { CAUTION_LINE, CAUTION_RULE, cautionsFor, type CautionPlace } from '../state/cautions.ts';
import { Button } from './controls.tsx';

/** False until the first page has opened: a fresh page begins at its top, with the skip link. */
let opened = false;

/** A page's heading. It takes the focus when one comes from another page, so that a screen reader says where one is. */
export function PageTitle(p: {
  readonly title: string;
  readonly line?: ComponentChildren;
  readonly children?: ComponentChildren;
}): JSX.Element {
  const heading = useRef<HTMLHeadingElement>(null);
  useEffect(() => {
    document.title = `${p.title} · Nightdraw`;
  }, [p.title]);
  useEffect(() => {
    if (opened) heading.current?.focus({ preventScroll: true });
    opened = true;
  }, []);
  return (
    <header class="page-title">
      <div>
        <h1 tabIndex={-1} ref={heading}>
          {p.title}
        </h1>
        {p.line && <p class="quiet">{p.line}</p>}
      </div>
      {p.children && <div class="row">{p.children}</div>}
    </header>
  );
}

/** Something that did not work, in a sentence, with a way to try again. */
export function Problem(p: {
  readonly sentence: string | null;
  readonly onRetry?: () => void;
}): JSX.Element | null {
  if (p.sentence === null || p.sentence === '') return null;
  return (
    <div class="problem" role="alert">
      <p>{p.sentence}</p>
      {p.onRetry && <Button onPress={p.onRetry}>Try again</Button>}
    </div>
  );
}

export function Waiting(p: { readonly children: ComponentChildren }): JSX.Element {
  return (
    <p class="quiet waiting" role="status">
      {p.children}
    </p>
  );
}

export function Tag(p: { readonly children: ComponentChildren; readonly kind?: string }): JSX.Element {
  return <span class={`tag ${p.kind ?? ''}`}>{p.children}</span>;
}

/** The cautions in one line, with the way to the whole of them further down. */
export function CautionLine(): JSX.Element {
  return (
    <p class="caution-line">
      {CAUTION_LINE}{' '}
      <button
        type="button"
        class="as-link"
        onClick={() => document.querySelector('.cautions')?.scrollIntoView({ block: 'start' })}
      >
        All cautions
      </button>
    </p>
  );
}

/** What can hurt at this step, in plain words. */
export function Cautions(p: { readonly place: CautionPlace }): JSX.Element {
  return (
    <section class="cautions" aria-label="Before you touch the car">
      <h2>Before you touch the car</h2>
      <ul>
        {cautionsFor(p.place).map((c) => (
          <li key={c.id}>
            <strong>{c.what}</strong> <span>{c.why}</span>
          </li>
        ))}
      </ul>
      <p class="quiet">{CAUTION_RULE}</p>
    </section>
  );
}
