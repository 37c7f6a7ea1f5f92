import type { JSX } from 'preact';
import { hashOf } from '../state/route.ts';
import { FileButton } from './fileButton.tsx';
import { useAction } from './hooks.ts';
import { useServices } from './services.ts';
import { Problem } from './words.tsx';

/** A table of readings or a sealed bundle becomes a recording; the page goes to it. */
export function ImportCsv(p: { readonly caseId: string | null }): JSX.Element {
  const { api } = useServices();
  const action = useAction();
  return (
    <div class="import">
      <FileButton
        label={action.busy ? 'Reading the file' : 'Import a CSV or a sealed bundle'}
        accept=".csv,.tsv,.txt,.gz,.zip,text/csv,application/zip"
        busy={action.busy}
        onFile={(file) =>
          action.run(async () => {
            const octets = new Uint8Array(await file.arrayBuffer());
            const recording = await api.importCsv(file.name, octets, p.caseId);
            location.hash = hashOf({ page: 'night', id: recording.id });
          })
        }
      />
      <Problem sentence={action.problem} />
    </div>
  );
}
