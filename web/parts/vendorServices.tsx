import type { JSX } from 'preact';
import { useState } from 'preact/hooks';
import { meterApi } from '../state/meterApi.ts';
import { readServices } from '../state/meterSettings.ts';
import { Button, TextField } from './controls.tsx';
import { useAction, useLoad } from './hooks.ts';
import { useServices } from './services.ts';
import { Problem } from './words.tsx';

/** Services of makers that the browser's chooser is asked for beside those that are known. */
export function VendorServices(): JSX.Element {
  const { api, sync } = useServices();
  const kept = useLoad<string[]>('vendor services', () => meterApi(api).vendorServices());
  const [edited, setEdited] = useState<string | null>(null);
  const [problem, setProblem] = useState<string>();
  const [saved, setSaved] = useState(false);
  const action = useAction();
  const text = edited ?? (kept.value ?? []).join('\n');
  const save = (): void => {
    const read = readServices(text);
    setProblem(read.ok ? undefined : read.sentence);
    if (!read.ok) return;
    action.run(async () => {
      await meterApi(api).writeVendorServices(read.value);
      await sync.reloadTaught();
      kept.reload();
      setEdited(null);
      setSaved(true);
    });
  };
  return (
    <form class="form" noValidate onSubmit={(e) => e.preventDefault()}>
      <p class="quiet">
        A browser hands over only services that are named to it. Name here those of a meter that a browser
        connects but nothing can read.
      </p>
      <TextField
        label="Services to ask the browser for"
        rows={3}
        hint="One a line: 4 hexadecimal digits, or 32 with dashes"
        maxLength={2000}
        value={text}
        problem={problem}
        onValue={(value) => {
          setEdited(value);
          setProblem(undefined);
          setSaved(false);
        }}
      />
      <Problem sentence={kept.problem ?? action.problem} />
      <div class="row">
        <Button tone="main" busy={action.busy} disabled={kept.value === null} onPress={save}>
          Save the services
        </Button>
        <span role="status">{saved ? 'Saved.' : ''}</span>
      </div>
    </form>
  );
}
