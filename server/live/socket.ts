import type { Server as HttpServer } from 'node:http';
import { Server, type Socket } from 'socket.io';
import type { Clock } from '../../drivers/core/clock.ts';
import type { Hub } from '../capture/hub.ts';
import { refusalOf } from '../http/guard.ts';
import { failureOf } from '../http/failures.ts';
import type { ErrorBody } from '../messages/errors.ts';
import { announceSchema, batchSchema, readingsSchema } from '../messages/socket.ts';

export interface LiveOptions {
  readonly server: HttpServer;
  readonly hub: Hub;
  readonly clock: Clock;
  readonly log: (line: string) => void;
}

export interface Live {
  /** Messages that were refused since the start. */
  readonly refused: number;
  close(): Promise<void>;
}

/** A batch of 16 channels with 4096 samples each is about 4 MB of text. */
const LARGEST_MESSAGE = 8 * 1024 * 1024;
/** A page that sends nothing but nonsense is let go after so many. */
const MOST_REFUSED = 100;

/** The live side of the server: what the pages send is parsed, handed to the hub and answered. */
export function attachLive({ server, hub, clock, log }: LiveOptions): Live {
  let refused = 0;
  const io = new Server(server, {
    serveClient: false,
    maxHttpBufferSize: LARGEST_MESSAGE,
    allowRequest: (request, decide) => {
      const refusal = refusalOf(request);
      decide(refusal, refusal === null);
    },
  });
  io.engine.on('headers', (headers: Record<string, string>) => {
    headers['X-Content-Type-Options'] = 'nosniff';
    headers['Cache-Control'] = 'no-store';
  });

  io.on('connection', (socket) => {
    let nonsense = 0;

    /** Answers the message, or says why not; nothing that a page sends can throw out of here. */
    const handle = (name: string, run: (body: unknown) => unknown) => {
      socket.on(name, (...args: unknown[]) => {
        const acknowledge = args.at(-1);
        const answer = (value: unknown) => {
          if (typeof acknowledge === 'function') (acknowledge as (value: unknown) => void)(value);
        };
        try {
          answer(run(args[0]));
        } catch (error) {
          const failure = failureOf(error);
          const body: ErrorBody = { error: failure.code, sentence: failure.message };
          if (failure.code === 'internal') log(`socket "${name}": ${String(error)}`);
          answer(name === 'batch' ? { ok: false, expected: null, error: body } : { error: body });
          if (failure.code !== 'bad-request') return;
          refused++;
          if (++nonsense >= MOST_REFUSED) socket.disconnect(true);
        }
      });
    };

    handle('clock', () => ({ nowMs: clock.nowMs(), utcMs: clock.utcMs() }));
    handle('announce', (body) => {
      hub.pages.announce(socket.id, announceSchema.parse(body));
      return { ok: true };
    });
    handle('batch', (body) => hub.pages.batch(socket.id, batchSchema.parse(body)));
    handle('relay', (body) => {
      hub.pages.relay(socket.id, readingsSchema.parse(body));
      return { ok: true };
    });
    socket.on('disconnect', () => hub.pages.announce(socket.id, []));
    welcome(socket, hub);
  });

  const stop = hub.listen({
    onMeters: (meters) => io.emit('meters', meters),
    onReadings: (readings, from) => (from === null ? io : io.except(from)).emit('readings', readings),
    onRecording: (message) => io.emit('recording', message),
    onNotice: (notice) => io.emit('notice', notice),
    onFrames: (frames) => io.emit('frames', frames),
  });

  return {
    get refused() {
      return refused;
    },
    async close() {
      stop();
      await io.close();
    },
  };
}

/** What a page must know when it comes, or comes back. */
function welcome(socket: Socket, hub: Hub): void {
  socket.emit('meters', hub.meters());
  for (const message of hub.runningRecordings()) socket.emit('recording', message);
  for (const readings of hub.lastReadings()) socket.emit('readings', readings);
}
