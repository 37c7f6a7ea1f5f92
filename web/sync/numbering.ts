import type { BatchReply } from '../../server/messages/socket.ts';

/**
 * The page counts its batches by `seq`, which never changes; the number that the server sees is
 * `seq + shift`. Where the two sides disagree (the browser's storage was cleared, a batch was refused for
 * good, the server's database was restored from an older copy) only the shift changes.
 */
export interface SentBatch {
  readonly seq: number;
  readonly shift: number;
}

export type Verdict =
  /** It is durable at the server, or refused for good: forget it; go on with this shift. */
  | { readonly kind: 'done'; readonly shift: number; readonly complaint: string | null }
  /** Not stored; send it again under this shift. */
  | { readonly kind: 'again'; readonly shift: number }
  /** Not stored now; wait, and say why. */
  | { readonly kind: 'later'; readonly sentence: string }
  /** The recording is gone: nothing of it is wanted any more. */
  | { readonly kind: 'unwanted'; readonly sentence: string };

export function judge(sent: SentBatch, reply: BatchReply): Verdict {
  const number = sent.seq + sent.shift;
  if (reply.ok) return judgeDurable(sent, number, reply.upTo);
  if (reply.expected !== null) {
    // The server has it already, though the answer was lost.
    if (reply.expected > number) return judgeDurable(sent, number, reply.expected - 1);
    if (reply.expected < number) return { kind: 'again', shift: reply.expected - sent.seq };
  }
  const { error, sentence } = reply.error;
  switch (error) {
    case 'not-found':
      return { kind: 'unwanted', sentence };
    case 'bad-request':
    case 'too-large':
    case 'unreadable-file':
    case 'meter-unknown':
      // Sent again it would be refused again; the next batch takes its number.
      return { kind: 'done', shift: sent.shift - 1, complaint: sentence };
    case 'conflict':
    case 'origin-refused':
    case 'no-bluetooth':
    case 'meter-unreachable':
    case 'store-full':
    case 'store-failed':
    case 'internal':
      return { kind: 'later', sentence };
  }
}

function judgeDurable(sent: SentBatch, number: number, upTo: number): Verdict {
  if (upTo < number) return { kind: 'later', sentence: 'The server did not store the readings yet.' };
  // Where the server counts further than this page ever sent, the next batch goes on from there.
  return { kind: 'done', shift: upTo - sent.seq, complaint: null };
}
