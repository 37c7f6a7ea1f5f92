import type { JSX } from 'preact';
import { useId } from 'preact/hooks';

/** A button that asks for a file. The same file can be chosen again, as after it was mended. */
export function FileButton(p: {
  readonly label: string;
  /** As the `accept` attribute takes it. */
  readonly accept: string;
  readonly tone?: 'main' | 'plain';
  readonly busy: boolean;
  readonly onFile: (file: File) => void;
}): JSX.Element {
  const id = useId();
  return (
    <>
      <input
        id={id}
        class="file"
        type="file"
        accept={p.accept}
        disabled={p.busy}
        onChange={(e) => {
          const file = e.currentTarget.files?.[0];
          // Else choosing it once more would be no change.
          e.currentTarget.value = '';
          if (file !== undefined) p.onFile(file);
        }}
      />
      <label class={`button ${p.tone ?? 'plain'}`} for={id} aria-disabled={p.busy}>
        {p.label}
      </label>
    </>
  );
}
