import type { JSX } from 'preact';
import { useState } from 'preact/hooks';
import type { Case, Recording } from '../../server/messages/records.ts';
import { casesInOrder } from '../state/recordings.ts';
import { hashOf } from '../state/route.ts';
import { Button, Confirm, SelectField } from './controls.tsx';
import { useAction, useLoad } from './hooks.ts';
import { useServices } from './services.ts';
import { Problem } from './words.tsx';

/** Where a recording is kept: its case, its provenance, and its end. */
export function Keep(p: { readonly recording: Recording; readonly onMoved: () => void }): JSX.Element {
  const { api } = useServices();
  const { recording } = p;
  const cases = useLoad<Case[]>('cases', () => api.listCases());
  const moving = useAction();
  const deletion = useAction();
  const [asking, setAsking] = useState(false);
  return (
    <details class="fold">
      <summary>Where this recording is kept</summary>
      <div class="fold-body">
        {recording.provenance !== '' && <p class="quiet">{recording.provenance}</p>}
        <SelectField
          label="Case"
          value={recording.caseId ?? ''}
          options={[
            { value: '', label: 'None' },
            ...casesInOrder(cases.value ?? []).map((c) => ({ value: c.id, label: c.title })),
          ]}
          onValue={(id) =>
            moving.run(async () => {
              await api.moveRecording(recording.id, id === '' ? null : id);
              p.onMoved();
            })
          }
        />
        <Problem sentence={moving.problem ?? cases.problem} />
        <div class="row">
          <Button tone="danger" disabled={recording.state === 'recording'} onPress={() => setAsking(true)}>
            Delete this recording
          </Button>
        </div>
        {asking && (
          <Confirm
            title={`Delete "${recording.title}"?`}
            yes="Delete the recording"
            busy={deletion.busy}
            problem={deletion.problem}
            onNo={() => setAsking(false)}
            onYes={() =>
              deletion.run(async () => {
                await api.deleteRecording(recording.id);
                location.hash = hashOf(
                  recording.caseId === null ? { page: 'recordings' } : { page: 'case', id: recording.caseId },
                );
              })
            }
          >
            Its readings and findings are removed for good. Download the CSV first if anybody may ask for
            them.
          </Confirm>
        )}
      </div>
    </details>
  );
}
