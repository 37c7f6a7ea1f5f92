import type { JSX } from 'preact';
import { useId, useRef, useState } from 'preact/hooks';
import { PHOTO_KINDS, type PhotoKind } from '../../server/messages/casePapers.ts';
import { caseApi } from '../state/caseApi.ts';
import { PHOTO_WORDS } from '../state/photo.ts';
import { Button, SelectField, TextField } from './controls.tsx';
import { useAction } from './hooks.ts';
import { keptText } from './keptText.ts';
import { useServices } from './services.ts';
import { shrinkPhoto } from './shrink.ts';
import { Problem } from './words.tsx';

/** A note or a photo for the case, from where one stands. */
export function AddPapers(p: { readonly caseId: string; readonly onAdded: () => void }): JSX.Element {
  const [open, setOpen] = useState<'note' | 'photo' | null>(null);
  const done = (): void => {
    setOpen(null);
    p.onAdded();
  };
  const turn = (which: 'note' | 'photo') => () => setOpen(open === which ? null : which);
  return (
    <div class="add-papers">
      <div class="row">
        <Button pressed={open === 'photo'} onPress={turn('photo')}>
          Add a photo
        </Button>
        <Button pressed={open === 'note'} onPress={turn('note')}>
          Write a note
        </Button>
      </div>
      {open === 'note' && <NewNote caseId={p.caseId} onDone={done} />}
      {open === 'photo' && <NewPhoto caseId={p.caseId} onDone={done} />}
    </div>
  );
}

function NewNote(p: { readonly caseId: string; readonly onDone: () => void }): JSX.Element {
  const { api } = useServices();
  const action = useAction();
  // What is being written outlives a reload; one for each case.
  const key = `nightdraw.draft.note.${p.caseId}`;
  const [text, setText] = useState(() => keptText.get(key) ?? '');
  const write = (next: string): void => {
    keptText.set(key, next === '' ? null : next);
    setText(next);
  };
  return (
    <form class="form" onSubmit={(e) => e.preventDefault()}>
      <TextField label="Note" rows={4} maxLength={4000} value={text} onValue={write} />
      <Problem sentence={action.problem} />
      <div class="row">
        <Button
          tone="main"
          submits
          busy={action.busy}
          disabled={text.trim() === ''}
          onPress={() =>
            action.run(async () => {
              await caseApi(api).addNote(p.caseId, text);
              write('');
              p.onDone();
            })
          }
        >
          Keep the note
        </Button>
      </div>
    </form>
  );
}

function NewPhoto(p: { readonly caseId: string; readonly onDone: () => void }): JSX.Element {
  const { api } = useServices();
  const action = useAction();
  const id = useId();
  const input = useRef<HTMLInputElement>(null);
  const [kind, setKind] = useState<PhotoKind>('hook-up');
  const [caption, setCaption] = useState('');
  return (
    <form class="form" onSubmit={(e) => e.preventDefault()}>
      <div class="form-grid">
        <SelectField
          label="Of what"
          value={kind}
          options={PHOTO_KINDS.map((value) => ({ value, label: PHOTO_WORDS[value] }))}
          onValue={setKind}
        />
        <TextField label="Caption" maxLength={200} value={caption} onValue={setCaption} />
      </div>
      <div class="row">
        <input
          ref={input}
          id={id}
          class="file"
          type="file"
          accept="image/*"
          disabled={action.busy}
          onChange={(e) => {
            const file = e.currentTarget.files?.[0];
            if (file === undefined) return;
            action.run(async () => {
              try {
                await caseApi(api).addPhoto(p.caseId, { kind, caption }, await shrinkPhoto(file));
                p.onDone();
              } finally {
                if (input.current !== null) input.current.value = '';
              }
            });
          }}
        />
        <label class="button main" for={id} aria-disabled={action.busy}>
          {action.busy ? 'Keeping the photo' : 'Take or choose the photo'}
        </label>
      </div>
      <p class="quiet small">
        It is drawn anew and made smaller here first: place, time and camera stay behind.
      </p>
      <Problem sentence={action.problem} />
    </form>
  );
}
