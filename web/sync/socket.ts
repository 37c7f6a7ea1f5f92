import { io, type Socket } from 'socket.io-client';
import type { z } from 'zod';
import type { Meter } from '../../server/messages/meters.ts';
import { meterListSchema } from '../../server/messages/http.ts';
import { rawFramesSchema, type RawFrames } from '../../server/messages/rawFrames.ts';
import {
  batchReplySchema,
  clockReplySchema,
  noticeSchema,
  readingsSchema,
  recordingMessageSchema,
  type Batch,
  type BatchReply,
  type Notice,
  type Readings,
  type RecordingMessage,
} from '../../server/messages/socket.ts';

export interface SocketHooks {
  /** Each connection has the next number; what the server says holds for its connection. */
  onUp(connection: number): void;
  onDown(): void;
  onMeters(meters: readonly Meter[]): void;
  onReadings(readings: Readings): void;
  onRecording(message: RecordingMessage, connection: number): void;
  onNotice(notice: Notice): void;
  onFrames(frames: RawFrames): void;
}

export interface ServerSocket {
  /** Rejects where no answer comes in time. */
  clock(): Promise<{ readonly nowMs: number }>;
  batch(batch: Batch): Promise<BatchReply>;
  announce(meters: readonly Meter[]): void;
  relay(readings: Readings): void;
  close(): void;
}

const ANSWER_MS = 10_000;

/** The one socket to the server that this page came from. Every message is parsed with its schema. */
export function connectSocket(hooks: SocketHooks): ServerSocket {
  const socket: Socket = io({
    transports: ['websocket', 'polling'],
    reconnectionDelay: 300,
    reconnectionDelayMax: 2000,
  });
  let connection = 0;

  /** A message that is not in its form is said once per kind, and left out. */
  function on<T>(name: string, schema: z.ZodType<T>, take: (value: T) => void): void {
    let complained = false;
    socket.on(name, (body: unknown) => {
      const parsed = schema.safeParse(body);
      if (parsed.success) return take(parsed.data);
      if (complained) return;
      complained = true;
      hooks.onNotice({
        level: 'warning',
        text: `The server sent "${name}" in a form that this page does not know; reload the page.`,
      });
    });
  }

  async function ask<T>(name: string, schema: z.ZodType<T>, ...args: unknown[]): Promise<T> {
    if (!socket.connected) throw new Error('not connected');
    const answer: unknown = await socket.timeout(ANSWER_MS).emitWithAck(name, ...args);
    return schema.parse(answer);
  }

  socket.on('connect', () => hooks.onUp(++connection));
  socket.on('disconnect', (reason) => {
    hooks.onDown();
    // The library reconnects by itself except where the server asked it to go.
    if (reason === 'io server disconnect') setTimeout(() => socket.connect(), 2000);
  });
  on('meters', meterListSchema, hooks.onMeters);
  on('readings', readingsSchema, hooks.onReadings);
  on('recording', recordingMessageSchema, (message) => hooks.onRecording(message, connection));
  on('notice', noticeSchema, hooks.onNotice);
  on('frames', rawFramesSchema, hooks.onFrames);

  return {
    clock: () => ask('clock', clockReplySchema),
    batch: (batch) => ask('batch', batchReplySchema, batch),
    announce(meters) {
      if (socket.connected) socket.emit('announce', meters);
    },
    relay(readings) {
      if (socket.connected) socket.volatile.emit('relay', readings);
    },
    close: () => socket.disconnect(),
  };
}
