import { expect, test } from 'vitest';
import { parseFromChild, parseToChild } from '../../drivers/links/node/protocol.ts';

test('messages of the protocol pass as they are', () => {
  const bytes = { kind: 'bytes', connection: 1, at: 0, bytes: Uint8Array.of(1), atMs: 5.5 };
  expect(parseFromChild(bytes)).toBe(bytes);
  expect(parseFromChild({ kind: 'done', request: 1, answer: null })).not.toBeNull();
  const connect = { kind: 'connect', request: 1, connection: 2, id: 'a', timeoutMs: 10 };
  expect(parseToChild(connect)).toBe(connect);
  expect(parseToChild({ kind: 'ping' })).not.toBeNull();
  expect(parseToChild({ kind: 'listen', services: [] })).not.toBeNull();
  expect(parseFromChild({ kind: 'dropped', connection: 1, reason: 'x', endedBy: 'meter' })).not.toBeNull();
});

test.each([
  [null],
  ['ping'],
  [{}],
  [{ kind: 'toString' }],
  [{ kind: 'bytes', connection: 1, at: 0, bytes: [1], atMs: 5 }],
  [{ kind: 'done', request: '1', answer: null }],
  [{ kind: 'connect', request: 1, connection: 2, id: 7, timeoutMs: 10 }],
  [{ kind: 'scan' }],
  [{ kind: 'listen' }],
  [{ kind: 'dropped', connection: 1, reason: 'x' }],
])('%j is no message of the protocol', (message) => {
  expect(parseFromChild(message)).toBeNull();
  expect(parseToChild(message)).toBeNull();
});
