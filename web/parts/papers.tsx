import type { JSX } from 'preact';
import { useState } from 'preact/hooks';
import { PHOTO_KINDS, type PhotoKind } from '../../server/messages/casePapers.ts';
import { caseApi } from '../state/caseApi.ts';
import { PHOTO_WORDS } from '../state/photo.ts';
import { Button, SelectField, TextField } from './controls.tsx';
import { FileButton } from './fileButton.tsx';
import { useAction } from './hooks.ts';
import { keptText } from './keptText.ts';
import { NoteForm } from './noteForm.tsx';
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
    <NoteForm
      text={text}
      action={action}
      onText={write}
      onKeep={async () => {
        await caseApi(api).addNote(p.caseId, text);
        write('');
        p.onDone();
      }}
    />
  );
}

function NewPhoto(p: { readonly caseId: string; readonly onDone: () => void }): JSX.Element {
  const { api } = useServices();
  const action = useAction();
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
        <FileButton
          label={action.busy ? 'Keeping the photo' : 'Take or choose the photo'}
          accept="image/*"
          tone="main"
          busy={action.busy}
          onFile={(file) =>
            action.run(async () => {
              await caseApi(api).addPhoto(p.caseId, { kind, caption }, await shrinkPhoto(file));
              p.onDone();
            })
          }
        />
      </div>
      <p class="quiet small">
        It is drawn anew and made smaller here first: place, time and camera stay behind.
      </p>
      <Problem sentence={action.problem} />
    </form>
  );
}
