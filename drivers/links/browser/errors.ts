import { LinkError } from '../../core/errors.ts';

/** What was being done when the browser refused; the same exception means different things in each. */
export type Doing = 'choosing' | 'connecting' | 'discovering' | 'reading' | 'writing' | 'subscribing';

function parts(error: unknown): { name: string; message: string } {
  return error instanceof Error
    ? { name: error.name, message: error.message }
    : { name: '', message: String(error) };
}

/** Another operation of this page is under way on the same meter; it can be tried again shortly. */
export function isBusy(error: unknown): boolean {
  return /already in progress/i.test(parts(error).message);
}

/** "There are none of these" (services, characteristics, descriptors), which is an answer and not a failure. */
export function isNotFound(error: unknown): boolean {
  return parts(error).name === 'NotFoundError';
}

/** The exceptions of the Web Bluetooth specification as our closed set. */
export function linkError(error: unknown, doing: Doing): LinkError {
  if (error instanceof LinkError) return error;
  const { name, message } = parts(error);
  if (doing === 'choosing') {
    if (/adapter not available|globally disabled|not supported/i.test(message))
      return new LinkError(
        'no-bluetooth',
        'The Bluetooth adapter of this device is missing or switched off.',
      );
    if (name === 'NotFoundError') return new LinkError('not-found', 'No meter was chosen.');
    if (name === 'SecurityError' || name === 'NotAllowedError')
      return new LinkError(
        'not-allowed',
        'The browser did not open its list of meters; click the button again.',
      );
    return new LinkError('no-bluetooth', `The browser could not look for meters: ${message}`);
  }
  if (doing === 'connecting') {
    if (name === 'AbortError') return new LinkError('aborted', 'Connecting was called off.');
    if (name === 'SecurityError' || name === 'NotAllowedError')
      return new LinkError('not-allowed', 'The browser may not connect to this meter; choose it again.');
    if (/adapter/i.test(message))
      return new LinkError(
        'no-bluetooth',
        'The Bluetooth adapter of this device is missing or switched off.',
      );
    return new LinkError('not-found', 'The meter does not answer. Is it switched on and near?');
  }
  if (name === 'InvalidStateError' || /disconnected|no longer valid|not connected/i.test(message))
    return new LinkError('dropped', 'The connection to the meter has ended.');
  if (name === 'SecurityError')
    return new LinkError('not-allowed', `The browser keeps this part of the meter to itself: ${message}`);
  return new LinkError('refused', `The meter refused (${doing}): ${message}`);
}
