import type { JSX } from 'preact';
import { useEffect, useState } from 'preact/hooks';
import { Button } from './controls.tsx';
import { useAction } from './hooks.ts';
import { Problem } from './words.tsx';

interface Offer {
  readonly number: number;
  /** What was done, in a sentence. */
  readonly text: string;
  readonly undo: () => Promise<unknown>;
}

/** Outlives a change of page: what was deleted on one page is brought back from the next. */
let offered: Offer | null = null;
let number = 0;
const listeners = new Set<(offer: Offer | null) => void>();

function offer(next: Offer | null): void {
  offered = next;
  for (const l of listeners) l(next);
}

export function offerUndo(text: string, undo: () => Promise<unknown>): void {
  offer({ number: ++number, text, undo });
}

/** The last thing that was deleted, and the way back; it stays until it is put away or something else is deleted. */
export function UndoBar(): JSX.Element {
  const [shown, setShown] = useState(offered);
  useEffect(() => {
    listeners.add(setShown);
    return () => {
      listeners.delete(setShown);
    };
  }, []);
  return (
    <div class="undo" role="status">
      {shown !== null && <UndoLine key={shown.number} item={shown} />}
    </div>
  );
}

function UndoLine(p: { readonly item: Offer }): JSX.Element {
  const action = useAction();
  return (
    <div class="message">
      <p>{p.item.text}</p>
      <div class="row">
        <Button
          tone="main"
          busy={action.busy}
          onPress={() =>
            action.run(async () => {
              await p.item.undo();
              offer(null);
            })
          }
        >
          Undo
        </Button>
        <Button onPress={() => offer(null)}>Put away</Button>
      </div>
      <Problem sentence={action.problem} />
    </div>
  );
}
