import type { JSX } from 'preact';
import { useState } from 'preact/hooks';
import type { Meter } from '../../server/messages/meters.ts';
import type { Recording } from '../../server/messages/records.ts';
import type { HeldZeroCheck } from '../../server/messages/zeroCheck.ts';
import { meterApi } from '../state/meterApi.ts';
import { lateRecordings, zeroCheckText } from '../state/zeroCheck.ts';
import { Button, SelectField } from './controls.tsx';
import { useAction, useLoad } from './hooks.ts';
import { useServices } from './services.ts';
import { Problem } from './words.tsx';

const CHECK_S = 5;

/** What a meter shows with nothing to measure, for the next recording or for one that has just ended. */
export function ZeroCheckPart(p: { readonly meter: Meter }): JSX.Element {
  const { api } = useServices();
  const { meter } = p;
  const held = useLoad<HeldZeroCheck[]>(`zero checks ${meter.key}`, () => meterApi(api).heldZeroChecks());
  const recordings = useLoad<Recording[]>(`nights ${meter.key}`, () => api.listRecordings());
  const [recordingId, setRecordingId] = useState('');
  const [after, setAfter] = useState<readonly HeldZeroCheck[]>([]);
  const action = useAction();
  const late = lateRecordings(recordings.value ?? [], meter.key, Date.now());
  const own = (held.value ?? []).filter((check) => check.meterKey === meter.key);
  const current = meter.channels.some((c) => c.quantity === 'current');
  return (
    <>
      <p>{meter.source === 'virtual' ? VIRTUAL : current ? CLAMP : LEADS}</p>
      {late.length > 0 && (
        <SelectField
          label="The check belongs to"
          value={recordingId}
          options={[
            { value: '', label: 'the next recording, as the check before it' },
            ...late.map((r) => ({ value: r.id, label: `${r.title}, as the check after it` })),
          ]}
          onValue={setRecordingId}
        />
      )}
      <div class="row">
        <Button
          busy={action.busy}
          label={`Check the zero of ${meter.name}`}
          onPress={() =>
            action.run(async () => {
              setAfter([]);
              const checks = await meterApi(api).checkZero(meter.key, CHECK_S, recordingId || null);
              if (recordingId !== '') setAfter(checks);
              held.reload();
            })
          }
        >
          {action.busy ? `Listening for ${CHECK_S} s` : 'Check the zero'}
        </Button>
      </div>
      <Problem sentence={action.problem} />
      <div role="status">
        {own.map((check) => (
          <p key={check.key}>{zeroCheckText(check)}. Goes into the next recording within two hours.</p>
        ))}
        {after.map((check) => (
          <p key={check.key}>{zeroCheckText(check)}. Kept with the recording, after it.</p>
        ))}
      </div>
    </>
  );
}

const CLAMP =
  'Take the clamp off the lead, close it on nothing and keep it still. A meter of voltage too may stay at the battery.';
const LEADS = 'Take the leads off the battery, join their tips and keep them still.';
const VIRTUAL = 'The virtual car takes its meter off for the check and puts it back.';
