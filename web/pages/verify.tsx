import type { JSX } from 'preact';
import { useState } from 'preact/hooks';
import { fingerprintText } from '../../server/evidence/signing.ts';
import type { Verification } from '../../server/evidence/verify.ts';
import { differenceText } from '../../server/evidence/words.ts';
import { verdictOf } from '../../server/messages/sentences.ts';
import { useAction, useLoad } from '../parts/hooks.ts';
import { useServices } from '../parts/services.ts';
import { TextField } from '../parts/controls.tsx';
import { FileButton } from '../parts/fileButton.tsx';
import { LevelSign } from '../parts/findingParts.tsx';
import { PageTitle, Problem, Waiting } from '../parts/words.tsx';

/** Whether a sealed bundle is what was sealed: worked out in the page, without any connection. */
export function VerifyPage(): JSX.Element {
  const [found, setFound] = useState<{ readonly name: string; readonly answer: Verification } | null>(null);
  const [key, setKey] = useState('');
  const action = useAction();
  const check = async (file: File) => {
    setFound(null);
    const octets = new Uint8Array(await file.arrayBuffer());
    const { checkBundle } = await import('../parts/checkBundle.ts');
    setFound({ name: file.name, answer: checkBundle(octets, key) });
  };
  return (
    <>
      <PageTitle
        title="Verify"
        line="Is a sealed bundle still what was sealed? The file does not leave this page."
      />
      <TextField
        label="Fingerprint that the signer told you (may be left empty)"
        value={key}
        maxLength={120}
        onValue={setKey}
      />
      <p>
        <FileButton
          label="Choose the sealed bundle"
          accept=".zip,application/zip"
          tone="main"
          busy={action.busy}
          onFile={(file) => action.run(() => check(file))}
        />
      </p>
      {action.busy && <Waiting>Checking.</Waiting>}
      <Problem sentence={action.problem} />
      {found !== null && <Answer {...found} />}
    </>
  );
}

/** Whose key it is can be said only where the page comes from the computer that has it. */
function SignedBy({ fingerprint }: { readonly fingerprint: string }): JSX.Element {
  const { api } = useServices();
  const own = useLoad<string>('key', () => api.ownKey());
  return (
    <p class="breaks">
      Signed by {fingerprintText(fingerprint)}.{' '}
      {own.value === fingerprint
        ? 'That is the key of the computer that serves this page.'
        : 'Compare it with what the signer told you.'}
    </p>
  );
}

function Answer({ name, answer }: { readonly name: string; readonly answer: Verification }): JSX.Element {
  const { findings } = answer;
  const level = answer.status === 'intact' ? 'fine' : 'act';
  return (
    <section class={`verdict ${level}`} aria-label="Answer" role="status">
      <LevelSign level={level} />
      <h2>{answer.sentence}</h2>
      <p class="quiet">{name}</p>
      {answer.differences.length + answer.faults.length > 0 && (
        <ul>
          {[...answer.differences.map(differenceText), ...answer.faults].map((line) => (
            <li key={line}>{line}</li>
          ))}
        </ul>
      )}
      {answer.signedBy !== null && <SignedBy fingerprint={answer.signedBy} />}
      {answer.stampedAt !== null && <p>Time stamp of {answer.stampedAt}.</p>}
      {answer.container === 'anew' && <p>The zip file was packed anew; what is in it was compared.</p>}
      {findings !== null && <p>Sealed finding: {verdictOf(findings.sealed).headline}</p>}
      {findings !== null && !findings.same && <p>Found now: {verdictOf(findings.now).headline}</p>}
    </section>
  );
}
