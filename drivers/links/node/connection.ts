import { sameRef } from '../../core/driver.ts';
import { LinkError } from '../../core/errors.ts';
import type { CharacteristicRef, Connection, EndedBy, OnBytes } from '../../core/link.ts';
import type { Answer, Opened } from './protocol.ts';

/** A request without its number. */
type Ask = (
  message:
    | { readonly kind: 'read' | 'subscribe'; readonly at: number }
    | { readonly kind: 'readDescriptor'; readonly at: number; readonly descriptor: string }
    | {
        readonly kind: 'write';
        readonly at: number;
        readonly bytes: Uint8Array;
        readonly withResponse: boolean;
      }
    | { readonly kind: 'close' },
) => Promise<Answer>;

export interface HeldConnection {
  readonly connection: Connection;
  received(at: number, bytes: Uint8Array, atMs: number): void;
  dropped(reason: string, endedBy: EndedBy): void;
}

export interface ConnectionOptions extends Opened {
  /** Settles at the latest when its time is up. */
  readonly ask: Ask;
  readonly onEnd: () => void;
}

/** The parent's half of a connection. */
export function holdConnection(options: ConnectionOptions): HeldConnection {
  const { meter, characteristics, ask } = options;
  const listeners = new Map<number, OnBytes>();
  const dropListeners: ((reason: string, endedBy: EndedBy) => void)[] = [];
  /** `endedBy` is null where it was not dropped but closed. */
  let over: { readonly reason: string; readonly endedBy: EndedBy | null } | null = null;
  let end: (error: LinkError) => void = () => undefined;
  const ended = new Promise<never>((_, reject) => (end = reject));
  ended.catch(() => undefined); // nobody may be waiting when it ends

  function finish(reason: string, endedBy: EndedBy | null): void {
    over = { reason, endedBy };
    listeners.clear();
    options.onEnd();
    end(endError(reason));
  }

  function place(ref: CharacteristicRef, needs: 'canRead' | 'canWrite' | 'canNotify' | null): number {
    if (over) throw endError(over.reason);
    const at = characteristics.findIndex((c) => sameRef(c, ref));
    if (at < 0) throw new LinkError('refused', 'The meter has no such characteristic.');
    if (needs && !characteristics[at]![needs]) throw new LinkError('refused', CANNOT[needs]);
    return at;
  }

  const asked = (message: Parameters<Ask>[0]): Promise<Answer> => Promise.race([ask(message), ended]);

  const connection: Connection = {
    meter,
    characteristics,
    async read(ref) {
      return bytesOf(await asked({ kind: 'read', at: place(ref, 'canRead') }));
    },
    async readDescriptor(ref, descriptor) {
      return bytesOf(await asked({ kind: 'readDescriptor', at: place(ref, null), descriptor }));
    },
    async write(ref, bytes, withResponse) {
      const at = place(ref, 'canWrite');
      await asked({ kind: 'write', at, bytes: Uint8Array.from(bytes), withResponse });
    },
    async subscribe(ref, onBytes) {
      const at = place(ref, 'canNotify');
      if (listeners.has(at)) throw new LinkError('refused', 'This characteristic has its listener already.');
      listeners.set(at, onBytes);
      try {
        await asked({ kind: 'subscribe', at });
      } catch (error) {
        listeners.delete(at);
        throw error;
      }
    },
    onDropped(listener) {
      if (!over) dropListeners.push(listener);
      else if (over.endedBy) listener(over.reason, over.endedBy);
    },
    async close() {
      if (over) return;
      finish('The connection was closed.', null);
      await ask({ kind: 'close' }).catch(() => undefined);
    },
  };

  return {
    connection,
    received: (at, bytes, atMs) => listeners.get(at)?.(bytes, atMs),
    dropped(reason, endedBy) {
      if (over) return;
      finish(reason, endedBy);
      for (const listener of dropListeners) listener(reason, endedBy);
    },
  };
}

/** The reason for a drop that came with the end of the radio process. */
export const LINK_DIED = 'link-died';

function endError(reason: string): LinkError {
  return reason === LINK_DIED
    ? new LinkError('link-died', 'The Bluetooth process stopped and is being replaced.')
    : new LinkError('dropped', reason);
}

const CANNOT = {
  canRead: 'This characteristic cannot be read.',
  canWrite: 'This characteristic cannot be written.',
  canNotify: 'This characteristic does not notify.',
} as const;

function bytesOf(answer: Answer): Uint8Array {
  if (answer instanceof Uint8Array) return answer;
  throw new LinkError('link-died', 'The radio process gave a wrong answer.');
}
