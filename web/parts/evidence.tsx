import type { JSX } from 'preact';
import { useState } from 'preact/hooks';
import { fingerprintText } from '../../server/evidence/signing.ts';
import type { Recording } from '../../server/messages/records.ts';
import type { SealState } from '../../server/messages/seal.ts';
import { hashOf } from '../state/route.ts';
import {
  bundlePath,
  reportPath,
  sealLines,
  type BundleLess,
  type Paper,
  type Reader,
} from '../state/evidence.ts';
import { Choice, LinkButton, SelectField } from './controls.tsx';
import { useLoad } from './hooks.ts';
import { useServices } from './services.ts';
import { Problem, Waiting } from './words.tsx';

/** The report in the form that somebody asked for, the sealed bundle, and whether the recording is still as sealed. */
export function Evidence({ recording }: { readonly recording: Recording }): JSX.Element {
  const [isOpen, setOpen] = useState(false);
  const [reader, setReader] = useState<Reader>('workshop');
  const [paper, setPaper] = useState<Paper>('a4');
  const [less, setLess] = useState<BundleLess>('');
  const stopped = recording.state === 'stopped';
  return (
    <details class="fold" onToggle={(e) => setOpen(e.currentTarget.open)}>
      <summary>Report and evidence</summary>
      <div class="fold-body">
        <Choice
          legend="Report for"
          value={reader}
          options={[
            { value: 'workshop', label: 'Workshop' },
            { value: 'customer', label: 'Customer, one page' },
          ]}
          onValue={setReader}
        />
        <Choice
          legend="Paper"
          value={paper}
          options={[
            { value: 'a4', label: 'A4' },
            { value: 'letter', label: 'US Letter' },
          ]}
          onValue={setPaper}
        />
        <div class="row">
          {(['pdf', 'html', 'csv'] as const).map((format) => (
            <LinkButton
              key={format}
              href={reportPath(recording.id, format, reader, paper)}
              download={`report.${format}`}
            >
              {{ pdf: 'Report as PDF', html: 'Report as web page', csv: 'Figures as CSV' }[format]}
            </LinkButton>
          ))}
        </div>
        <SelectField
          label="Sealed bundle"
          value={less}
          options={[
            { value: '', label: 'With everything' },
            { value: 'identity', label: 'Without plate, case and notes' },
            { value: 'photos', label: 'Without photos' },
            { value: 'identity,photos', label: 'Without plate, case, notes and photos' },
          ]}
          onValue={setLess}
        />
        {stopped ? (
          <div class="row">
            <LinkButton href={bundlePath(recording.id, less)} download="bundle.zip">
              Make the sealed bundle
            </LinkButton>
          </div>
        ) : (
          <p class="quiet">The bundle can be made once the recording has stopped.</p>
        )}
        {isOpen && <Seals recording={recording} />}
        <p>
          <a href={hashOf({ page: 'verify' })}>Verify a bundle</a>
        </p>
      </div>
    </details>
  );
}

function Seals({ recording }: { readonly recording: Recording }): JSX.Element {
  const { api } = useServices();
  const seals = useLoad<SealState>(`seal ${recording.id}`, () => api.sealState(recording.id));
  if (seals.value === null)
    return seals.problem === null ? (
      <Waiting>Comparing the recording with its seals.</Waiting>
    ) : (
      <Problem sentence={seals.problem} onRetry={seals.reload} />
    );
  const { key, faults } = seals.value;
  return (
    <div>
      {faults.length > 0 && <Problem sentence={faults.join(' ')} />}
      {sealLines(seals.value, recording.zone).map((line) => (
        <p key={line} class="quiet breaks">
          {line}
        </p>
      ))}
      <p class="quiet">
        Key of this computer: <span class="breaks">{fingerprintText(key)}</span>. Tell it to whoever is to
        check a bundle some other way than with the bundle.
      </p>
    </div>
  );
}
