import { LinkError } from '../../../drivers/core/errors.ts';
import type { CharacteristicRef, Connection, SeenMeter } from '../../../drivers/core/link.ts';
import { createBrowserLink } from '../../../drivers/links/browser/link.ts';
import { browserBluetooth } from '../../../drivers/links/browser/support.ts';
import type { RemoteEvent, RemoteResult } from '../rig/remote.ts';

/** A page that offers its browser link to the test process. */

declare global {
  interface Window {
    tell(event: RemoteEvent): Promise<void>;
    bench: typeof bench;
  }
}

const link = createBrowserLink({ operationTimeoutMs: 1500 });
const connections = new Map<number, Connection>();
const calls = new Map<number, AbortController>();
let next = 1;
let findOnClick: (() => void) | null = null;

async function settle<T>(work: Promise<T>): Promise<RemoteResult<T>> {
  try {
    return { value: await work };
  } catch (error) {
    if (error instanceof LinkError) return { error: { code: error.code, message: error.message } };
    return { error: { code: `not a LinkError: ${String(error)}`, message: String(error) } };
  }
}

function abortFor(call: number): AbortSignal {
  const controller = new AbortController();
  calls.set(call, controller);
  return controller.signal;
}

const bench = {
  support: () => browserBluetooth(),
  /** The next click on the button opens the chooser, since that needs a person's gesture. */
  armFind(call: number, services: readonly string[], alsoUse: readonly string[]): void {
    const signal = abortFor(call);
    findOnClick = () => {
      const onSeen = (meter: SeenMeter): void => void window.tell({ kind: 'seen', call, meter });
      void settle(link.find({ services, alsoUse, signal, onSeen }).then(() => null)).then((result) =>
        window.tell({ kind: 'found', call, result }),
      );
    };
  },
  abort(call: number): void {
    calls.get(call)?.abort();
  },
  async connect(call: number, id: string, timeoutMs: number) {
    const result = await settle(link.connect(id, { timeoutMs, signal: abortFor(call) }));
    if ('error' in result) return result;
    const number = next++;
    const { meter, characteristics } = result.value;
    connections.set(number, result.value);
    result.value.onDropped((reason) => void window.tell({ kind: 'dropped', connection: number, reason }));
    return { value: { number, meter, characteristics } };
  },
  read: (connection: number, ref: CharacteristicRef) =>
    settle(
      connections
        .get(connection)!
        .read(ref)
        .then((bytes) => [...bytes]),
    ),
  readDescriptor: (connection: number, ref: CharacteristicRef, uuid: string) =>
    settle(
      connections
        .get(connection)!
        .readDescriptor(ref, uuid)
        .then((bytes) => [...bytes]),
    ),
  write: (connection: number, ref: CharacteristicRef, bytes: readonly number[], withResponse: boolean) =>
    settle(
      connections
        .get(connection)!
        .write(ref, Uint8Array.from(bytes), withResponse)
        .then(() => null),
    ),
  subscribe(connection: number, ref: CharacteristicRef, listener: number) {
    const onBytes = (bytes: Uint8Array, atMs: number): void =>
      void window.tell({ kind: 'bytes', connection, listener, bytes: [...bytes], atMs });
    return settle(
      connections
        .get(connection)!
        .subscribe(ref, onBytes)
        .then(() => null),
    );
  },
  close: (connection: number) =>
    settle(
      connections
        .get(connection)!
        .close()
        .then(() => null),
    ),
};

window.bench = bench;
const button = document.createElement('button');
button.textContent = 'Find a meter';
button.addEventListener('click', () => findOnClick?.());
document.body.append(button);
