import { ERRORS, type ErrorCode } from '../../../server/messages/errors.ts';
import type { Batch, BatchReply } from '../../../server/messages/socket.ts';

export type Fault = 'request-lost' | 'reply-lost' | 'store-full' | 'none';

/** The server's side of numbered batches, with faults on the way. */
export class FakeServer {
  readonly stored: Batch[] = [];
  fault: () => Fault = () => 'none';
  refuseForGood: (batch: Batch) => ErrorCode | null = () => null;
  private last = 0;

  get lastNumber(): number {
    return this.last;
  }

  /** Samples in the order of their storing. */
  counts(): number[] {
    return this.stored.flatMap((batch) => batch.parts.flatMap((part) => part.samples.counts));
  }

  send = async (batch: Batch): Promise<BatchReply> => {
    const fault = this.fault();
    if (fault === 'request-lost') throw new Error('lost on the way there');
    const reply = fault === 'store-full' ? refusal('store-full') : this.receive(batch);
    if (fault === 'reply-lost') throw new Error('lost on the way back');
    return reply;
  };

  private receive(batch: Batch): BatchReply {
    if (batch.number <= this.last) return { ok: true, upTo: this.last };
    if (batch.number > this.last + 1) return refusal('conflict', this.last + 1);
    const error = this.refuseForGood(batch);
    if (error) return refusal(error);
    this.last = batch.number;
    this.stored.push(batch);
    return { ok: true, upTo: this.last };
  }
}

function refusal(error: ErrorCode, expected: number | null = null): BatchReply {
  return { ok: false, expected, error: { error, sentence: ERRORS[error].sentence } };
}
