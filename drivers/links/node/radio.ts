import type { Noble } from '@abandonware/noble';
import type { UnavailableReason } from './status.ts';

export interface RadioOptions {
  /** Longest wait for the adapter's first word, milliseconds. */
  readonly powerOnMs: number;
  /** Called whenever the adapter's state changes, `null` meaning ready. Never called twice with the same. */
  readonly onState: (reason: UnavailableReason | null) => void;
}

/**
 * Loads the library and brings the adapter up. Says through `onState` what became of it; resolves with the
 * library, or null where it could not be loaded.
 */
export async function startRadio({ powerOnMs, onState }: RadioOptions): Promise<Noble | null> {
  let last: UnavailableReason | null | undefined;
  function tell(reason: UnavailableReason | null): void {
    clearTimeout(timer);
    if (reason === last) return;
    last = reason;
    onState(reason);
  }
  const timer = setTimeout(() => tell('not-answering'), powerOnMs);

  let noble: Noble;
  try {
    noble = (await import('@abandonware/noble')).default;
  } catch (error) {
    tell(reasonOfLoadFailure(error));
    return null;
  }
  // Without a listener of ours the library prints its warnings; with one it reports a failed start here.
  noble.on('warning', (text: string) => {
    if (/^Initialization/.test(text)) tell(reasonOfStartFailure(text));
  });
  noble.on('stateChange', (state: string) => {
    const reason = reasonOfState(state);
    if (reason !== undefined) tell(reason);
  });
  return noble;
}

function reasonOfLoadFailure(error: unknown): UnavailableReason {
  const text = error instanceof Error ? `${'code' in error ? String(error.code) : ''} ${error.message}` : '';
  if (/EAFNOSUPPORT|Unsupported platform/.test(text)) return 'no-bluetooth-support';
  if (/EPERM|EACCES/.test(text)) return 'not-allowed';
  return 'library-missing';
}

function reasonOfStartFailure(warning: string): UnavailableReason {
  if (/EPERM|EACCES/.test(warning)) return 'not-allowed';
  if (/EBUSY|EALREADY/.test(warning)) return 'not-answering';
  return 'no-adapter';
}

/** undefined: on its way to another state. */
function reasonOfState(state: string): UnavailableReason | null | undefined {
  switch (state) {
    case 'poweredOn':
      return null;
    case 'poweredOff':
      return 'adapter-off';
    case 'unauthorized':
      return 'not-allowed';
    case 'unsupported':
      return 'no-adapter';
    default:
      return undefined;
  }
}
