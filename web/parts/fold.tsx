import type { ComponentChildren, JSX } from 'preact';
import { useState } from 'preact/hooks';

/** A part that unfolds; what is in it is not made, and asks the server nothing, before it is opened first. */
export function Fold(p: { readonly title: string; readonly children: ComponentChildren }): JSX.Element {
  const [opened, setOpened] = useState(false);
  return (
    <details class="fold" onToggle={(e) => setOpened((before) => before || e.currentTarget.open)}>
      <summary>{p.title}</summary>
      {opened && <div class="fold-body">{p.children}</div>}
    </details>
  );
}
