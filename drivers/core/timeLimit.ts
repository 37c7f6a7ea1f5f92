import type { Abort, Clock } from './clock.ts';
import { LinkError } from './errors.ts';

/**
 * Settles as `work` does, or rejects with LinkError timed-out / aborted when that comes first. The work
 * itself cannot be stopped from here; its late outcome is ignored.
 */
export function withTimeLimit<T>(
  work: Promise<T>,
  limit: { readonly clock: Clock; readonly ms: number; readonly what: string; readonly signal?: Abort },
): Promise<T> {
  return new Promise<T>((resolve, reject) => {
    const onAbort = (): void =>
      finish(() => reject(new LinkError('aborted', `${limit.what} was called off.`)));
    const cancel = limit.clock.after(limit.ms, () =>
      finish(() =>
        reject(new LinkError('timed-out', `${limit.what} took longer than ${limit.ms / 1000} s.`)),
      ),
    );
    let open = true;
    function finish(settle: () => void): void {
      if (!open) return;
      open = false;
      cancel();
      limit.signal?.removeEventListener('abort', onAbort);
      settle();
    }
    limit.signal?.addEventListener('abort', onAbort);
    if (limit.signal?.aborted) onAbort();
    work.then(
      (value) => finish(() => resolve(value)),
      (error: unknown) => finish(() => reject(error instanceof Error ? error : new Error(String(error)))),
    );
  });
}
