import type { JSX } from 'preact';
import { useState } from 'preact/hooks';
import type { TaughtMeter } from '../../server/messages/taughtMeters.ts';
import { ApiError } from '../state/api.ts';
import { meterApi } from '../state/meterApi.ts';
import { descriptionFileName, readDescription, taughtFor } from '../state/meterSettings.ts';
import { Button, Confirm, LinkButton } from './controls.tsx';
import { FileButton } from './fileButton.tsx';
import { Fold } from './fold.tsx';
import { useAction, useLoad } from './hooks.ts';
import { useServices } from './services.ts';
import { offerUndo } from './undo.tsx';
import { VendorServices } from './vendorServices.tsx';
import { Problem } from './words.tsx';

/** Meters that were taught by example: their descriptions go out and come in as files. */
export function TaughtMeters(): JSX.Element {
  const { api, sync } = useServices();
  const kept = useLoad<TaughtMeter[]>('taught meters', () => meterApi(api).taught());
  const [asked, setAsked] = useState<TaughtMeter | null>(null);
  const adding = useAction();
  const removing = useAction();
  const changed = async (): Promise<void> => {
    await sync.reloadTaught();
    kept.reload();
  };
  const remove = async ({ id, description }: TaughtMeter): Promise<void> => {
    await meterApi(api).deleteTaught(id);
    setAsked(null);
    offerUndo(`The description of ${description.title} is deleted.`, async () => {
      await meterApi(api).addTaught(description);
      await changed();
    });
    await changed();
  };
  return (
    <section class="source" aria-labelledby="taught-heading">
      <header class="section-head">
        <h2 id="taught-heading">Taught meters</h2>
        <div class="import">
          <FileButton
            label={adding.busy ? 'Reading the file' : 'Import a description'}
            accept=".json,application/json"
            busy={adding.busy}
            onFile={(file) =>
              adding.run(async () => {
                const read = readDescription(await file.text());
                if (!read.ok) throw new ApiError('unreadable-file', read.sentence);
                await meterApi(api).addTaught(read.value);
                await changed();
              })
            }
          />
        </div>
      </header>
      {kept.value?.length === 0 && (
        <p class="quiet">None yet. A description that another Nightdraw has learned can be imported.</p>
      )}
      <Problem sentence={adding.problem} />
      <Problem sentence={kept.problem} onRetry={kept.reload} />
      <ul class="lines" aria-label="Taught meters">
        {(kept.value ?? []).map((taught) => (
          <li key={taught.id} class="line meter">
            <strong class="line-main">{taught.description.title}</strong>
            <p class="quiet octets">{taughtFor(taught)}</p>
            <div class="row">
              <LinkButton
                href={`data:application/json,${encodeURIComponent(JSON.stringify(taught.description, null, 2))}`}
                download={descriptionFileName(taught.description)}
              >
                Export
              </LinkButton>
              <Button label={`Delete ${taught.description.title}`} onPress={() => setAsked(taught)}>
                Delete
              </Button>
            </div>
          </li>
        ))}
      </ul>
      <Fold title="Services of makers">
        <VendorServices />
      </Fold>
      {asked !== null && (
        <Confirm
          title={`Delete ${asked.description.title}?`}
          yes="Delete the description"
          busy={removing.busy}
          problem={removing.problem}
          onNo={() => setAsked(null)}
          onYes={() => removing.run(() => remove(asked))}
        >
          Meters of this kind are not read any more from their next connection on. Recordings stay as they
          are.
        </Confirm>
      )}
    </section>
  );
}
