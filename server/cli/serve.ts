import { createServer, type Server } from 'node:http';
import { networkInterfaces } from 'node:os';
import { processClock } from '../../drivers/links/node/clock.ts';
import { createNodeLink } from '../../drivers/links/node/link.ts';
import { DRIVERS } from '../../drivers/meters/registry.ts';
import { UNDO_DAYS } from '../messages/casePapers.ts';
import { importDemoNights } from '../capture/demo.ts';
import { fileClaims } from '../capture/claims.ts';
import { freeMegabytes } from '../capture/diskSpace.ts';
import { Hub } from '../capture/hub.ts';
import { suspendedMs } from '../capture/suspended.ts';
import { Watch } from '../capture/watch.ts';
import { createApp } from '../http/app.ts';
import { FindingsDesk } from '../http/findings.ts';
import { listen, LOOPBACK } from '../http/listen.ts';
import { attachLive } from '../live/socket.ts';
import { SCENARIOS } from '../simulator/scenarios.ts';
import { signerIn } from '../sealing/keyFile.ts';
import { sealingStore } from '../sealing/sealingStore.ts';
import { openStore } from '../store/openStore.ts';
import type { Store } from '../store/store.ts';
import { readBindKeys } from './bindKeys.ts';
import { UsageError, type Command, type CommandContext } from './command.ts';
import { DATA_OPTION, DATA_USAGE } from './data.ts';
import { databaseFile, dataFolder, DEMO_FOLDER, PAGE_FOLDER, VERSION } from './project.ts';
import { createVirtualCar } from './virtualCar.ts';
import { WRITE_EVERY_OPTION, WRITE_EVERY_USAGE, writeEveryMs } from './writeEvery.ts';

const DEFAULT_PORT = 4280;
const DAY_MS = 86_400_000;

export const serveCommand: Command = {
  name: 'serve',
  summary: 'starts the server with its page and prints the address',
  usage: [
    'Usage: nightdraw serve [--port N] [--lan] [--data DIR]',
    '',
    `  --port N    port to listen on; 0 takes any free one (default ${DEFAULT_PORT}, or any when that is in use)`,
    '  --lan       listen on all addresses of this computer, not only on its own loopback: everyone on the same',
    '              network can then see and change the recordings; use it only in a network that you trust',
    WRITE_EVERY_USAGE,
    DATA_USAGE,
  ].join('\n'),
  options: { port: { type: 'string' }, lan: { type: 'boolean' }, ...WRITE_EVERY_OPTION, ...DATA_OPTION },

  async run(context, parsed) {
    const { values, positionals } = parsed;
    if (positionals.length > 0) throw new UsageError(`"${positionals[0]}" is not understood here.`);
    const wanted = typeof values.port === 'string' ? portOf(values.port) : null;
    const lan = values.lan === true;
    const commitEveryMs = writeEveryMs(parsed);
    const log = (line: string) => context.stderr(`${line}\n`);
    const data = dataFolder(context, parsed);
    const bindKeys = readBindKeys(data);
    const store = sealingStore(openStore(databaseFile(data)), {
      data,
      signer: signerIn(data),
      utcMs: () => processClock.utcMs(),
      onTrouble: log,
    });
    const radio = createNodeLink();
    const hub = new Hub({
      store,
      recorder: { commitEveryMs },
      clock: processClock,
      random: Math.random,
      drivers: DRIVERS,
      radio: { link: radio, status: () => radio.status() },
      claims: fileClaims(data),
      bindKeys,
      suspendedMs,
      car: createVirtualCar({
        scenario: SCENARIOS.live,
        seed: () => Math.floor(Math.random() * 2 ** 31),
        clock: processClock,
      }),
    });
    const desk = new FindingsDesk(store);
    const watch = new Watch({
      store,
      clock: processClock,
      running: () => hub.runningRecordings(),
      findingsOf: (id) => desk.findingsOf(id, {}),
      diskFreeMb: () => freeMegabytes(data),
      onWarning: (id, warning) => hub.warn(id, warning.text),
      log,
    });
    const app = createApp({
      store,
      hub,
      desk,
      watch,
      version: VERSION,
      dataFolder: data,
      pageFolder: PAGE_FOLDER,
      log,
    });
    const server = createServer(app);
    const live = attachLive({ server, hub, clock: processClock, log });
    let purging: NodeJS.Timeout | undefined;
    try {
      const port = await listenSomewhere(server, wanted, lan, log);
      hub.resume();
      context.stdout(`Nightdraw is at http://${LOOPBACK}:${port}/\n`);
      radio.start();
      setImmediate(() => {
        bringDemoNights(store, log);
        purge(store, log);
      });
      purging = setInterval(() => purge(store, log), DAY_MS);
      if (lan) sayLan(port, log);
      await untilAborted(context);
    } finally {
      clearInterval(purging);
      watch.close();
      const closed = live.close();
      server.closeAllConnections();
      await closed;
      const open = hub.runningRecordings().length;
      const lost = await hub.close();
      if (lost > 0) log(`${lost} readings could not be stored.`);
      if (open === 1) log('One recording is not stopped; it goes on when the server is started again.');
      if (open > 1) log(`${open} recordings are not stopped; they go on when the server is started again.`);
      await radio.close();
      store.close();
    }
    return 0;
  },
};

/** What was deleted long enough ago goes for good. */
function purge(store: Store, log: (line: string) => void): void {
  try {
    store.purge(new Date(processClock.utcMs() - UNDO_DAYS * DAY_MS).toISOString());
  } catch (error) {
    log(`What was deleted could not be removed. ${error instanceof Error ? error.message : String(error)}`);
  }
}

/** Each demo night comes once; one that was deleted stays away. */
function bringDemoNights(store: Store, log: (line: string) => void): void {
  try {
    importDemoNights(store, DEMO_FOLDER);
  } catch (error) {
    log(`The demo nights could not be brought in. ${error instanceof Error ? error.message : String(error)}`);
  }
}

async function listenSomewhere(
  server: Server,
  wanted: number | null,
  lan: boolean,
  log: (line: string) => void,
): Promise<number> {
  try {
    return await listen(server, wanted ?? DEFAULT_PORT, lan);
  } catch (error) {
    const { code } = error as { code?: string };
    if (code === 'EADDRINUSE' && wanted === null) {
      log(`Port ${DEFAULT_PORT} is in use, perhaps by another Nightdraw; taking another.`);
      return listen(server, 0, lan);
    }
    if (code === 'EADDRINUSE') throw new UsageError(`Port ${wanted} is in use; choose another, or --port 0.`);
    if (code === 'EACCES') throw new UsageError(`Port ${wanted} is not allowed; choose one above 1023.`);
    throw error;
  }
}

function sayLan(port: number, log: (line: string) => void): void {
  for (const { address, family, internal } of Object.values(networkInterfaces()).flatMap((i) => i ?? []))
    if (family === 'IPv4' && !internal) log(`On this network: http://${address}:${port}/`);
  log('Everyone on this network can see and change the recordings while this runs.');
  log('A browser gives a page from another computer no Bluetooth over plain http.');
}

function portOf(text: string): number {
  const port = Number(text);
  if (!/^\d{1,5}$/.test(text) || port > 65_535)
    throw new UsageError('--port needs a number from 0 to 65535.');
  return port;
}

function untilAborted({ signal }: CommandContext): Promise<void> {
  if (signal.aborted) return Promise.resolve();
  return new Promise((resolve) => signal.addEventListener('abort', () => resolve(), { once: true }));
}
