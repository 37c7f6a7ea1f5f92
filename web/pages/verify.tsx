import type { JSX } from 'preact';
import { useId, useState } from 'preact/hooks';
import { fingerprintText } from '../../server/evidence/signing.ts';
import type { Verification } from '../../server/evidence/verify.ts';
import { differenceText } from '../../server/evidence/words.ts';
import { verdictOf } from '../../server/messages/sentences.ts';
import { useAction } from '../parts/hooks.ts';
import { PageTitle, Problem, Waiting } from '../parts/words.tsx';

/** Whether a sealed bundle is what was sealed: worked out in the page, without any connection. */
export function VerifyPage(): JSX.Element {
  const [found, setFound] = useState<{ readonly name: string; readonly answer: Verification } | null>(null);
  const [key, setKey] = useState('');
  const action = useAction();
  const [fileId, keyId] = [useId(), useId()];
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
      <p>
        <label for={keyId}>Fingerprint that the signer told you (may be left empty)</label>
        <br />
        <input id={keyId} type="text" size={48} value={key} onInput={(e) => setKey(e.currentTarget.value)} />
      </p>
      <p>
        <label for={fileId}>Sealed bundle</label>
        <br />
        <input
          id={fileId}
          type="file"
          accept=".zip,application/zip"
          disabled={action.busy}
          onChange={(e) => {
            const input = e.currentTarget;
            const file = input.files?.[0];
            if (file !== undefined) action.run(() => check(file).finally(() => void (input.value = '')));
          }}
        />
      </p>
      {action.busy && <Waiting>Checking.</Waiting>}
      <Problem sentence={action.problem} />
      {found !== null && <Answer {...found} />}
    </>
  );
}

function Answer({ name, answer }: { readonly name: string; readonly answer: Verification }): JSX.Element {
  const { findings } = answer;
  return (
    <section aria-label="Answer" role="status">
      <h2>{answer.sentence}</h2>
      <p class="quiet">{name}</p>
      {answer.differences.length + answer.faults.length > 0 && (
        <ul>
          {[...answer.differences.map(differenceText), ...answer.faults].map((line) => (
            <li key={line}>{line}</li>
          ))}
        </ul>
      )}
      {answer.signedBy !== null && (
        <p>Signed by {fingerprintText(answer.signedBy)}. Compare it with what the signer told you.</p>
      )}
      {answer.stampedAt !== null && <p>Time stamp of {answer.stampedAt}.</p>}
      {answer.container === 'anew' && <p>The zip file was packed anew; what is in it was compared.</p>}
      {findings !== null && <p>Sealed finding: {verdictOf(findings.sealed).headline}</p>}
      {findings !== null && !findings.same && <p>Found now: {verdictOf(findings.now).headline}</p>}
    </section>
  );
}
