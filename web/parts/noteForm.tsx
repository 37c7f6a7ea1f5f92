import type { ComponentChildren, JSX } from 'preact';
import { Button, TextField } from './controls.tsx';
import type { Action } from './hooks.ts';
import { Problem } from './words.tsx';

/** The text of a note, new or old, and what keeps it. */
export function NoteForm(p: {
  readonly text: string;
  readonly action: Action;
  readonly onText: (text: string) => void;
  readonly onKeep: () => Promise<void>;
  /** Further buttons. */
  readonly children?: ComponentChildren;
}): JSX.Element {
  return (
    <form class="form" onSubmit={(e) => e.preventDefault()}>
      <TextField label="Note" rows={4} maxLength={4000} value={p.text} onValue={p.onText} />
      <Problem sentence={p.action.problem} />
      <div class="row">
        <Button
          tone="main"
          submits
          busy={p.action.busy}
          disabled={p.text.trim() === ''}
          onPress={() => p.action.run(p.onKeep)}
        >
          Keep the note
        </Button>
        {p.children}
      </div>
    </form>
  );
}
