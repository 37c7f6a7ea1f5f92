import type { JSX } from 'preact';
import { useState } from 'preact/hooks';
import type { Meter } from '../../server/messages/meters.ts';
import { meterApi } from '../state/meterApi.ts';
import { addressOf, readBindKey } from '../state/meterSettings.ts';
import { Button, TextField } from './controls.tsx';
import { useAction, useLoad } from './hooks.ts';
import { useServices } from './services.ts';
import { Problem } from './words.tsx';

/** The key of a meter that encrypts what it broadcasts. Once saved it stays at the server and is not shown again. */
export function BindKeyPart(p: { readonly meter: Meter }): JSX.Element {
  const { api } = useServices();
  const kept = useLoad<string[]>(`bind keys ${p.meter.key}`, () => meterApi(api).bindKeys());
  const [text, setText] = useState('');
  const [problem, setProblem] = useState<string>();
  const action = useAction();
  const has = (kept.value ?? []).includes(addressOf(p.meter) ?? '');
  const write = (key: string | null): void =>
    action.run(async () => {
      await meterApi(api).writeBindKey(p.meter.key, key);
      setText('');
      kept.reload();
    });
  return (
    <form class="form" noValidate onSubmit={(e) => e.preventDefault()}>
      <p role="status">
        {kept.value !== null &&
          (has ? 'A key is kept for this meter; it is not shown again.' : 'No key is kept.')}
      </p>
      <TextField
        label={has ? 'Another bind key' : 'Bind key'}
        hint="32 hexadecimal digits, from the meter’s maker or its app; holds from the next connection on"
        maxLength={80}
        value={text}
        problem={problem}
        onValue={(value) => {
          setText(value);
          setProblem(undefined);
        }}
      />
      <Problem sentence={kept.problem ?? action.problem} />
      <div class="row">
        <Button
          tone="main"
          submits
          busy={action.busy}
          onPress={() => {
            const read = readBindKey(text);
            setProblem(read.ok ? undefined : read.sentence);
            if (read.ok) write(read.value);
          }}
        >
          Save the key
        </Button>
        {has && (
          <Button busy={action.busy} onPress={() => write(null)}>
            Remove the key
          </Button>
        )}
      </div>
    </form>
  );
}
