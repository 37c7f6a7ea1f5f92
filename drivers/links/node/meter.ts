import type { Noble, Peripheral } from '@abandonware/noble';
import type { Abort, Clock } from '../../core/clock.ts';
import { LinkError } from '../../core/errors.ts';
import type { CharacteristicInfo, EndedBy } from '../../core/link.ts';
import { withTimeLimit } from '../../core/timeLimit.ts';
import { discover, OUR_MTU, type Found } from './discovery.ts';
import { oneAtATime } from './inTurn.ts';

const CLOSE_LIMIT_MS = 3000;
// Core Specification, Vol 3, Part F, 3.4.5: opcode and handle come before the value.
const WRITE_HEADER = 3;

/** One connected meter as the radio process holds it. `at` counts `characteristics`. */
export interface Meter {
  readonly characteristics: readonly CharacteristicInfo[];
  read(at: number): Promise<Uint8Array>;
  readDescriptor(at: number, descriptor: string): Promise<Uint8Array>;
  write(at: number, bytes: Uint8Array, withResponse: boolean): Promise<void>;
  subscribe(at: number, onBytes: (bytes: Uint8Array, atMs: number) => void): Promise<void>;
  close(): Promise<void>;
}

export interface MeterOptions {
  readonly noble: Noble;
  /** Connected. All listeners on it are this meter's, and go with it. */
  readonly peripheral: Peripheral;
  readonly clock: Clock;
  /** Longest time for one read, write or subscription, milliseconds. */
  readonly stepMs: number;
  /** When the discovery must be done, on the clock. */
  readonly discoverByMs: number;
  readonly signal: Abort;
  readonly onDropped: (reason: string, endedBy: EndedBy) => void;
}

/** Asks a connected peripheral what it offers. Disconnects it when that fails. @throws LinkError */
export async function openMeter(options: MeterOptions): Promise<Meter> {
  const { noble, peripheral, clock, stepMs, signal } = options;
  let over = false;
  let opened = false;
  let end: (error: LinkError) => void = () => undefined;
  const ended = new Promise<never>((_, reject) => (end = reject));
  ended.catch(() => undefined); // nobody may be waiting when it ends

  function finish(reason: string): void {
    over = true;
    peripheral.removeAllListeners();
    for (const f of found) f.characteristic.removeAllListeners();
    end(new LinkError('dropped', reason));
  }

  let found: readonly Found[] = [];
  if (peripheral.state !== 'connected') throw new LinkError('dropped', sentenceOf(null));
  peripheral.once('disconnect', (code: unknown) => {
    const reason = sentenceOf(code);
    finish(reason);
    if (opened) options.onDropped(reason, endedBy(code));
  });

  async function close(): Promise<void> {
    // Once the link is gone the library has no handle for it and would end some other meter's.
    if (over || peripheral.state !== 'connected') return;
    finish('The connection was closed.');
    await withTimeLimit(peripheral.disconnectAsync(), {
      clock,
      ms: CLOSE_LIMIT_MS,
      what: 'Disconnecting',
    }).catch(() => undefined);
  }

  const limited = <T>(work: Promise<T>, ms: number, what: string): Promise<T> =>
    withTimeLimit(Promise.race([work, ended]), { clock, ms, what });

  try {
    found = await discover(noble, peripheral, (work) =>
      withTimeLimit(Promise.race([work, ended]), {
        clock,
        ms: Math.max(0, options.discoverByMs - clock.nowMs()),
        what: 'Asking the meter what it offers',
        signal,
      }),
    );
  } catch (error) {
    await close();
    throw error;
  }
  opened = true;

  const inTurn = oneAtATime();

  /** One operation in its turn: the library mixes up two reads of the same thing. */
  function operate<T>(at: number, what: string, work: (f: Found) => Promise<T>): Promise<T> {
    return inTurn(() => {
      const target = found[at];
      if (!target) throw new LinkError('refused', 'The meter has no such characteristic.');
      if (over) return ended;
      return limited(work(target), stepMs, what);
    });
  }

  return {
    characteristics: found.map((f) => f.info),
    read: (at) => operate(at, 'Reading', async (f) => given(await f.characteristic.readAsync())),
    readDescriptor: (at, descriptor) =>
      operate(at, 'Reading', async (f) => {
        const target = f.descriptors.find((d) => d.uuid === descriptor);
        if (!target) throw new LinkError('refused', 'The characteristic has no such descriptor.');
        return given(await target.descriptor.readValueAsync());
      }),
    write: (at, bytes, withResponse) =>
      operate(at, 'Writing', (f) => {
        const longest = Math.min(peripheral.mtu ?? OUR_MTU, OUR_MTU) - WRITE_HEADER;
        if (!withResponse && bytes.length > longest) {
          throw new LinkError('refused', `The meter takes at most ${longest} bytes at once.`);
        }
        return f.characteristic.writeAsync(Buffer.from(bytes), !withResponse);
      }),
    subscribe: (at, onBytes) => {
      const listener = (data: Buffer, isNotification: boolean): void => {
        if (isNotification) onBytes(new Uint8Array(data), clock.nowMs());
      };
      return operate(at, 'Subscribing', ({ characteristic, canSubscribe }) => {
        if (!canSubscribe) throw new LinkError('refused', 'The meter offers no way to switch this value on.');
        characteristic.removeAllListeners('data');
        characteristic.on('data', listener);
        return characteristic.subscribeAsync();
      }).catch((error: unknown) => {
        found[at]?.characteristic.removeListener('data', listener);
        throw error;
      });
    },
    close,
  };
}

/** The library answers a refused read with no bytes at all; no meter has a value of no bytes. */
function given(bytes: Buffer): Uint8Array {
  if (bytes.length === 0) throw new LinkError('refused', 'The meter did not give this value.');
  return new Uint8Array(bytes);
}

/** Core Specification, Vol 1, Part F, 1.3: why a connection ended. */
function sentenceOf(code: unknown): string {
  switch (code) {
    case 0x08:
    case 0x3e:
      return 'The meter went out of range or was switched off.';
    case 0x13:
      return 'The meter ended the connection.';
    case 0x14:
    case 0x15:
      return 'The meter is switching itself off.';
    case 0x16:
      return 'This computer ended the connection.';
    default:
      return typeof code === 'number'
        ? `The connection to the meter ended (reason ${code}).`
        : 'The connection to the meter ended.';
  }
}

/** By the same codes: a meter that switches itself off says so, one that is carried away does not. */
function endedBy(code: unknown): EndedBy {
  switch (code) {
    case 0x13:
    case 0x14:
    case 0x15:
      return 'meter';
    case 0x08:
    case 0x3e:
      return 'radio';
    default:
      return 'unknown';
  }
}
