/**
 * The radio process. The library can block its event loop for 40 s, never settles some promises and calls
 * process.exit on SIGINT, so it has this process for itself: it answers the parent's requests, and the
 * parent replaces it when it no longer does.
 */
import { createAbort } from '../../core/abort.ts';
import { LinkError } from '../../core/errors.ts';
import type { EndedBy } from '../../core/link.ts';
import type { Uuid } from '../../core/uuid.ts';
import { processClock } from './clock.ts';
import type { Meter } from './meter.ts';
import { createOpener } from './opening.ts';
import { parseToChild, type Answer, type FromChild, type ToChild } from './protocol.ts';
import { startRadio } from './radio.ts';
import { createScanner, type Scanner } from './scanner.ts';
import { READY, unavailable, type UnavailableReason } from './status.ts';

const clock = processClock;
const [stepMs, powerOnMs] = process.argv.slice(2).map(Number) as [number, number];

interface Held {
  readonly opening: ReturnType<typeof createAbort>;
  readonly opened: Promise<Meter>;
}
const held = new Map<number, Held>();
let radio: { readonly scanner: Scanner; readonly open: ReturnType<typeof createOpener> } | null = null;
let scanWanted = false;
let listenWanted: readonly Uuid[] = [];
let wasReady = false;

function send(message: FromChild): void {
  if (process.connected) process.send?.(message);
}

/** Says one last thing, and exits once it is on its way. */
function quit(last: FromChild | null): void {
  if (!process.connected || last === null) process.exit(0);
  process.send?.(last, () => process.exit(0));
}

function onRadioState(reason: UnavailableReason | null): void {
  if (reason === null) {
    wasReady = true;
    send({ kind: 'status', status: READY });
    return radio ? resume(radio.scanner) : undefined;
  }
  const message: FromChild = { kind: 'status', status: unavailable(reason, process.platform) };
  // An adapter that is off may yet be switched on. After all else, and when connections were lost with it
  // (the library does not notice), only a fresh process can go on.
  if (reason === 'adapter-off' && !wasReady) return send(message);
  for (const connection of held.keys()) {
    const reason = 'The Bluetooth adapter was switched off or unplugged.';
    send({ kind: 'dropped', connection, reason, endedBy: 'radio' });
  }
  quit(message);
}

function resume(scanner: Scanner): void {
  scanner.show(scanWanted);
  scanner.listenTo(listenWanted);
}

function onStuck(): void {
  quit({ kind: 'status', status: unavailable('not-answering', process.platform) });
}

async function answer(request: number, work: () => Promise<Answer>): Promise<void> {
  try {
    send({ kind: 'done', request, answer: await work() });
  } catch (error) {
    const code = error instanceof LinkError ? error.code : 'refused';
    const sentence = error instanceof Error ? error.message : String(error);
    send({ kind: 'failed', request, code, sentence });
  }
}

async function connect({ connection, id, timeoutMs }: ToChild & { kind: 'connect' }): Promise<Answer> {
  if (!radio || !wasReady) throw new LinkError('no-bluetooth', 'The Bluetooth adapter is not ready.');
  const opening = createAbort();
  const onDropped = (reason: string, endedBy: EndedBy): void => {
    held.delete(connection);
    send({ kind: 'dropped', connection, reason, endedBy });
  };
  const opened = radio.open({ id, timeoutMs, signal: opening.signal, onDropped });
  held.set(connection, { opening, opened: opened.then(({ meter }) => meter) });
  try {
    const { meter, seen } = await opened;
    return { meter: seen, characteristics: meter.characteristics };
  } catch (error) {
    held.delete(connection);
    throw error;
  }
}

async function close(connection: number): Promise<null> {
  const one = held.get(connection);
  held.delete(connection);
  one?.opening.abort();
  await one?.opened.then((meter) => meter.close()).catch(() => undefined);
  return null;
}

async function meterOf(connection: number): Promise<Meter> {
  const one = held.get(connection);
  if (!one) throw new LinkError('dropped', 'The connection has ended.');
  return one.opened;
}

function handle(message: ToChild): void {
  switch (message.kind) {
    case 'ping':
      return send({ kind: 'pong', rssBytes: process.memoryUsage.rss() });
    case 'scan':
      scanWanted = message.on;
      return wasReady ? radio?.scanner.show(scanWanted) : undefined;
    case 'listen':
      listenWanted = message.services;
      return wasReady ? radio?.scanner.listenTo(listenWanted) : undefined;
    case 'connect':
      return void answer(message.request, () => connect(message));
    case 'read':
      return void answer(message.request, async () => (await meterOf(message.connection)).read(message.at));
    case 'readDescriptor':
      return void answer(message.request, async () =>
        (await meterOf(message.connection)).readDescriptor(message.at, message.descriptor),
      );
    case 'write':
      return void answer(message.request, async () => {
        const meter = await meterOf(message.connection);
        await meter.write(message.at, message.bytes, message.withResponse);
        return null;
      });
    case 'subscribe': {
      const { connection, at } = message;
      return void answer(message.request, async () => {
        const meter = await meterOf(connection);
        await meter.subscribe(at, (bytes, atMs) => send({ kind: 'bytes', connection, at, bytes, atMs }));
        return null;
      });
    }
    case 'close':
      return void answer(message.request, () => close(message.connection));
    case 'stop':
      return void Promise.all([...held.keys()].map(close)).finally(() => quit(null));
  }
}

process.on('message', (raw) => {
  const message = parseToChild(raw);
  if (message) handle(message);
});
process.on('disconnect', () => quit(null)); // the parent is gone
process.on('SIGINT', () => undefined); // a terminal sends Ctrl-C to this process too, but the parent decides
// A promise that the library left behind for one meter must not end the connections of the others.
process.on('unhandledRejection', (error) => console.error(error));

const noble = await startRadio({ powerOnMs, onState: onRadioState });
if (noble) {
  const scanner = createScanner({
    noble,
    clock,
    onSeen: (meter) => send({ kind: 'seen', meter }),
    onHeard: (advertisement) => send({ kind: 'heard', advertisement }),
    onStuck,
  });
  radio = { scanner, open: createOpener({ noble, scanner, clock, stepMs, onStuck }) };
  if (wasReady) resume(scanner);
}
// The library exits on SIGINT unless a listener was added after its own, which it adds with the adapter.
setImmediate(() => process.on('SIGINT', () => undefined));
