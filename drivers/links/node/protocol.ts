import type { LinkErrorCode } from '../../core/errors.ts';
import type { Advertisement, CharacteristicInfo, EndedBy, SeenMeter } from '../../core/link.ts';
import type { Uuid } from '../../core/uuid.ts';
import type { BluetoothStatus } from './status.ts';

/**
 * What the two processes say to each other. `request` numbers an answer that is waited for, `connection` is
 * given out by the parent and never used twice, `at` counts a connection's characteristics as they were
 * reported when it was opened. Bytes travel as Uint8Array (structured clone).
 */
export type ToChild =
  | { readonly kind: 'scan'; readonly on: boolean }
  /** Tell every packet with service data of one of these; none ends it. */
  | { readonly kind: 'listen'; readonly services: readonly Uuid[] }
  | {
      readonly kind: 'connect';
      readonly request: number;
      readonly connection: number;
      readonly id: string;
      readonly timeoutMs: number;
    }
  | { readonly kind: 'read'; readonly request: number; readonly connection: number; readonly at: number }
  | {
      readonly kind: 'readDescriptor';
      readonly request: number;
      readonly connection: number;
      readonly at: number;
      readonly descriptor: Uuid;
    }
  | {
      readonly kind: 'write';
      readonly request: number;
      readonly connection: number;
      readonly at: number;
      readonly bytes: Uint8Array;
      readonly withResponse: boolean;
    }
  | { readonly kind: 'subscribe'; readonly request: number; readonly connection: number; readonly at: number }
  /** Also calls off a connection that is still being opened. */
  | { readonly kind: 'close'; readonly request: number; readonly connection: number }
  | { readonly kind: 'ping' }
  /** Disconnect everything and exit. */
  | { readonly kind: 'stop' };

/** What a connect answers with. */
export interface Opened {
  readonly meter: SeenMeter;
  readonly characteristics: readonly CharacteristicInfo[];
}

export type Answer = Opened | Uint8Array | null;

export type FromChild =
  | { readonly kind: 'status'; readonly status: BluetoothStatus }
  | { readonly kind: 'seen'; readonly meter: SeenMeter }
  | { readonly kind: 'heard'; readonly advertisement: Advertisement }
  | { readonly kind: 'done'; readonly request: number; readonly answer: Answer }
  | {
      readonly kind: 'failed';
      readonly request: number;
      readonly code: LinkErrorCode;
      readonly sentence: string;
    }
  | {
      readonly kind: 'bytes';
      readonly connection: number;
      readonly at: number;
      readonly bytes: Uint8Array;
      readonly atMs: number;
    }
  | {
      readonly kind: 'dropped';
      readonly connection: number;
      readonly reason: string;
      readonly endedBy: EndedBy;
    }
  | { readonly kind: 'pong'; readonly rssBytes: number };

type Kind = 'number' | 'string' | 'boolean' | 'object' | 'bytes';

const TO_CHILD: Readonly<Record<ToChild['kind'], Readonly<Record<string, Kind>>>> = {
  scan: { on: 'boolean' },
  listen: { services: 'object' },
  connect: { request: 'number', connection: 'number', id: 'string', timeoutMs: 'number' },
  read: { request: 'number', connection: 'number', at: 'number' },
  readDescriptor: { request: 'number', connection: 'number', at: 'number', descriptor: 'string' },
  write: { request: 'number', connection: 'number', at: 'number', bytes: 'bytes', withResponse: 'boolean' },
  subscribe: { request: 'number', connection: 'number', at: 'number' },
  close: { request: 'number', connection: 'number' },
  ping: {},
  stop: {},
};

const FROM_CHILD: Readonly<Record<FromChild['kind'], Readonly<Record<string, Kind>>>> = {
  status: { status: 'object' },
  seen: { meter: 'object' },
  heard: { advertisement: 'object' },
  done: { request: 'number', answer: 'object' },
  failed: { request: 'number', code: 'string', sentence: 'string' },
  bytes: { connection: 'number', at: 'number', bytes: 'bytes', atMs: 'number' },
  dropped: { connection: 'number', reason: 'string', endedBy: 'string' },
  pong: { rssBytes: 'number' },
};

/** null: not a message of this protocol (Node and test runners use the same channel for their own). */
export function parseToChild(message: unknown): ToChild | null {
  return fits(message, TO_CHILD) ? (message as ToChild) : null;
}

export function parseFromChild(message: unknown): FromChild | null {
  return fits(message, FROM_CHILD) ? (message as FromChild) : null;
}

function fits(message: unknown, shapes: Readonly<Record<string, Readonly<Record<string, Kind>>>>): boolean {
  if (typeof message !== 'object' || message === null || !('kind' in message)) return false;
  if (typeof message.kind !== 'string' || !Object.hasOwn(shapes, message.kind)) return false;
  const fields = message as Readonly<Record<string, unknown>>;
  return Object.entries(shapes[message.kind]!).every(([name, kind]) =>
    kind === 'bytes' ? fields[name] instanceof Uint8Array : typeof fields[name] === kind,
  );
}
