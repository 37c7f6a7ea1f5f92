import { describe, expect, test } from 'vitest';
import { ERRORS, type ErrorCode } from '../../../server/messages/errors.ts';
import type { BatchReply } from '../../../server/messages/socket.ts';
import { judge } from '../../../web/sync/numbering.ts';

const stored = (upTo: number): BatchReply => ({ ok: true, upTo });
const refused = (error: ErrorCode, expected: number | null = null): BatchReply => ({
  ok: false,
  expected,
  error: { error, sentence: ERRORS[error].sentence },
});
const sent = { seq: 5, shift: 0 };

describe('what a reply means', () => {
  test('stored', () => {
    expect(judge(sent, stored(5))).toEqual({ kind: 'done', shift: 0, complaint: null });
  });

  test('the server counts further than this page ever sent: its numbers are from before the storage was cleared', () => {
    expect(judge(sent, stored(57))).toEqual({ kind: 'done', shift: 52, complaint: null });
  });

  test('the server wants an earlier number: its database is older than this page', () => {
    expect(judge(sent, refused('conflict', 3))).toEqual({ kind: 'again', shift: -2 });
  });

  test('the server wants a later number: it has this one', () => {
    expect(judge(sent, refused('conflict', 6))).toMatchObject({
      kind: 'done',
      shift: 0,
    });
  });

  test('refused for good: the next batch takes the number', () => {
    expect(judge(sent, refused('bad-request'))).toMatchObject({ kind: 'done', shift: -1 });
    expect(judge(sent, refused('too-large'))).toMatchObject({ kind: 'done', shift: -1 });
  });

  test.each(['store-full', 'store-failed', 'internal'] as const)('%s: later, with the reason', (code) => {
    expect(judge(sent, refused(code))).toEqual({ kind: 'later', sentence: ERRORS[code].sentence });
  });

  test('a recording that was deleted wants nothing more', () => {
    expect(judge(sent, refused('not-found')).kind).toBe('unwanted');
  });
});
