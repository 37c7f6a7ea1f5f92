import { createAbort } from '../../drivers/core/abort.ts';
import type { Clock } from '../../drivers/core/clock.ts';
import { LinkError, type LinkErrorCode } from '../../drivers/core/errors.ts';
import type {
  Advertisement,
  CharacteristicInfo,
  CharacteristicRef,
  Connection,
  Link,
  SeenMeter,
} from '../../drivers/core/link.ts';
import type { Uuid } from '../../drivers/core/uuid.ts';

/** How a promise of a link settled; plain, so that it survives the way out of a page. */
export type Outcome<T> = { readonly value: T } | { readonly error: LinkErrorCode };

/**
 * A link under test as a set of questions with plain answers. A link in this process is wrapped by
 * `subjectOf`; one in a page is wrapped there, and each question is carried to it.
 */
export interface LinkSubject {
  startFind(services: readonly Uuid[]): Promise<void>;
  /** What the find has reported so far. */
  seen(): Promise<readonly SeenMeter[]>;
  /** Calls the find off and says how it settled. */
  stopFind(): Promise<Outcome<null>>;
  /** Whether the link hears broadcasts at all. */
  canListen(): Promise<boolean>;
  startListening(services: readonly Uuid[]): Promise<void>;
  /** What was heard so far, oldest first. */
  heard(): Promise<readonly Heard[]>;
  /** Calls it off and says how it settled. */
  stopListening(): Promise<Outcome<null>>;
  connect(id: string, timeoutMs: number, abortAfterMs: number | null): Promise<Outcome<Connected>>;
  read(connection: number, ref: CharacteristicRef): Promise<Outcome<number[]>>;
  readDescriptor(connection: number, ref: CharacteristicRef, descriptor: Uuid): Promise<Outcome<number[]>>;
  write(
    connection: number,
    ref: CharacteristicRef,
    bytes: readonly number[],
    withResponse: boolean,
  ): Promise<Outcome<null>>;
  subscribe(connection: number, ref: CharacteristicRef): Promise<Outcome<null>>;
  /** What the subscription has brought so far. */
  received(connection: number, ref: CharacteristicRef): Promise<readonly Received[]>;
  /** The reasons with which the connection was reported dropped so far. */
  drops(connection: number): Promise<readonly string[]>;
  closeConnection(connection: number): Promise<Outcome<null>>;
  /** The link's clock. */
  nowMs(): Promise<number>;
}

export interface Connected {
  readonly connection: number;
  readonly meter: SeenMeter;
  readonly characteristics: readonly CharacteristicInfo[];
}

export type Heard = Omit<Advertisement, 'serviceData'> & {
  readonly serviceData: readonly { readonly uuid: Uuid; readonly bytes: readonly number[] }[];
};

export interface Received {
  readonly bytes: readonly number[];
  readonly atMs: number;
}

export function subjectOf(link: Link, clock: Clock): LinkSubject {
  const connections: { of: Connection; received: Map<string, Received[]>; drops: string[] }[] = [];
  let seen: SeenMeter[] = [];
  let finding: { readonly ended: Promise<Outcome<null>>; abort(): void } | null = null;
  let heard: Heard[] = [];
  let listening: { readonly ended: Promise<Outcome<null>>; abort(): void } | null = null;
  const at = (connection: number) => connections[connection]!;
  const keyOf = (ref: CharacteristicRef): string => `${ref.service} ${ref.characteristic} ${ref.index}`;

  return {
    async startFind(services) {
      const { signal, abort } = createAbort();
      seen = [];
      const found = seen;
      const ended = outcome(link.find({ services, signal, onSeen: (meter) => void found.push(meter) }));
      finding = { ended: ended.then((o) => ('error' in o ? o : { value: null })), abort };
    },
    seen: async () => seen,
    async stopFind() {
      finding?.abort();
      return finding ? finding.ended : { value: null };
    },
    canListen: async () => link.listen !== undefined,
    async startListening(services) {
      const { signal, abort } = createAbort();
      heard = [];
      const list = heard;
      const onAdvertisement = (a: Advertisement): void => {
        const serviceData = a.serviceData.map(({ uuid, bytes }) => ({ uuid, bytes: [...bytes] }));
        list.push({ ...a, serviceData });
      };
      listening = { ended: nothing(link.listen!({ services, signal, onAdvertisement })), abort };
    },
    heard: async () => heard,
    async stopListening() {
      listening?.abort();
      return listening ? listening.ended : { value: null };
    },
    async connect(id, timeoutMs, abortAfterMs) {
      const { signal, abort } = createAbort();
      const cancel = abortAfterMs === null ? null : clock.after(abortAfterMs, abort);
      const opened = await outcome(link.connect(id, { timeoutMs, signal }));
      cancel?.();
      if ('error' in opened) return opened;
      const entry = { of: opened.value, received: new Map<string, Received[]>(), drops: [] as string[] };
      entry.of.onDropped((reason) => entry.drops.push(reason));
      const connection = connections.push(entry) - 1;
      const { meter, characteristics } = entry.of;
      return { value: { connection, meter, characteristics } };
    },
    read: (connection, ref) => plain(at(connection).of.read(ref)),
    readDescriptor: (connection, ref, uuid) => plain(at(connection).of.readDescriptor(ref, uuid)),
    async write(connection, ref, bytes, withResponse) {
      return nothing(at(connection).of.write(ref, Uint8Array.from(bytes), withResponse));
    },
    async subscribe(connection, ref) {
      const { of, received } = at(connection);
      const list = received.get(keyOf(ref)) ?? [];
      received.set(keyOf(ref), list);
      return nothing(of.subscribe(ref, (bytes, atMs) => void list.push({ bytes: [...bytes], atMs })));
    },
    received: async (connection, ref) => at(connection).received.get(keyOf(ref)) ?? [],
    drops: async (connection) => at(connection).drops,
    closeConnection: (connection) => nothing(at(connection).of.close()),
    nowMs: async () => clock.nowMs(),
  };
}

/** @throws what the link rejected with, where that is not a LinkError */
async function outcome<T>(work: Promise<T>): Promise<Outcome<T>> {
  try {
    return { value: await work };
  } catch (error) {
    if (!(error instanceof LinkError)) throw error;
    return { error: error.code };
  }
}

async function plain(work: Promise<Uint8Array>): Promise<Outcome<number[]>> {
  const settled = await outcome(work);
  return 'error' in settled ? settled : { value: [...settled.value] };
}

async function nothing(work: Promise<void>): Promise<Outcome<null>> {
  const settled = await outcome(work);
  return 'error' in settled ? settled : { value: null };
}
