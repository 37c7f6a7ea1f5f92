import type { JSX } from 'preact';
import { useState } from 'preact/hooks';
import { PHOTO_KINDS, type Photo, type PhotoKind } from '../../server/messages/casePapers.ts';
import { caseApi, photoPath } from '../state/caseApi.ts';
import { PHOTO_WORDS } from '../state/photo.ts';
import { Button, SelectField, TextField } from './controls.tsx';
import { useAction } from './hooks.ts';
import { useServices } from './services.ts';
import { offerUndo } from './undo.tsx';
import { Problem } from './words.tsx';

/** A photo of the case with its caption; a press shows it whole. */
export function PhotoPart(p: { readonly photo: Photo; readonly onChanged: () => void }): JSX.Element {
  const papers = caseApi(useServices().api);
  const { photo } = p;
  const [editing, setEditing] = useState(false);
  const [kind, setKind] = useState<PhotoKind>(photo.kind);
  const [caption, setCaption] = useState(photo.caption);
  const action = useAction();
  const name = photo.caption || PHOTO_WORDS[photo.kind];
  return (
    <figure class="photo">
      <a
        href={photoPath(photo.id)}
        target="_blank"
        rel="noreferrer"
        aria-label={`Photo, whole size: ${name}`}
      >
        <img
          src={photoPath(photo.id)}
          alt={name}
          width={photo.widthPx}
          height={photo.heightPx}
          loading="lazy"
          decoding="async"
        />
      </a>
      <figcaption>
        <strong>{PHOTO_WORDS[photo.kind]}</strong> {photo.caption}
      </figcaption>
      {editing && (
        <form class="form" onSubmit={(e) => e.preventDefault()}>
          <SelectField
            label="Of what"
            value={kind}
            options={PHOTO_KINDS.map((value) => ({ value, label: PHOTO_WORDS[value] }))}
            onValue={setKind}
          />
          <TextField label="Caption" maxLength={200} value={caption} onValue={setCaption} />
        </form>
      )}
      <Problem sentence={action.problem} />
      <div class="row">
        {editing ? (
          <Button
            tone="main"
            busy={action.busy}
            onPress={() =>
              action.run(async () => {
                await papers.changePhoto(photo.id, { kind, caption });
                setEditing(false);
                p.onChanged();
              })
            }
          >
            Keep the caption
          </Button>
        ) : (
          <Button label={`Edit the photo: ${name}`} onPress={() => setEditing(true)}>
            Edit
          </Button>
        )}
        <Button
          tone="danger"
          label={`Delete the photo: ${name}`}
          busy={action.busy}
          onPress={() =>
            action.run(async () => {
              await papers.deletePhoto(photo.id);
              offerUndo(`Deleted: photo, ${name}.`, async () => {
                await papers.restorePhoto(photo.id);
                p.onChanged();
              });
              p.onChanged();
            })
          }
        >
          Delete
        </Button>
      </div>
    </figure>
  );
}
