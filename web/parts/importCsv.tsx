import type { JSX } from 'preact';
import { useId, useRef } from 'preact/hooks';
import { hashOf } from '../state/route.ts';
import { useAction } from './hooks.ts';
import { useServices } from './services.ts';
import { Problem } from './words.tsx';

/** A table of readings or a sealed bundle becomes a recording; the page goes to it. */
export function ImportCsv(p: { readonly caseId: string | null }): JSX.Element {
  const { api } = useServices();
  const action = useAction();
  const id = useId();
  const input = useRef<HTMLInputElement>(null);
  return (
    <div class="import">
      <input
        ref={input}
        id={id}
        class="file"
        type="file"
        accept=".csv,.tsv,.txt,.gz,.zip,text/csv,application/zip"
        disabled={action.busy}
        onChange={(e) => {
          const file = e.currentTarget.files?.[0];
          if (file === undefined) return;
          action.run(async () => {
            try {
              const recording = await api.importCsv(
                file.name,
                new Uint8Array(await file.arrayBuffer()),
                p.caseId,
              );
              location.hash = hashOf({ page: 'night', id: recording.id });
            } finally {
              // The same file can be chosen again after it was mended.
              if (input.current !== null) input.current.value = '';
            }
          });
        }}
      />
      <label class="button plain" for={id} aria-disabled={action.busy}>
        {action.busy ? 'Reading the file' : 'Import a CSV or a sealed bundle'}
      </label>
      <Problem sentence={action.problem} />
    </div>
  );
}
