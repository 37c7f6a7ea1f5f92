import type { Cancel, Clock } from '../../drivers/core/clock.ts';
import type { WebhookBody } from '../messages/watch.ts';

/** Posts JSON and says how it went; never throws. */
export type Post = (url: string, body: WebhookBody) => Promise<PostResult>;
export interface PostResult {
  readonly ok: boolean;
  /** Worth another try. */
  readonly again: boolean;
  /** Without the address, which may be a secret. */
  readonly sentence: string;
}

const TIMEOUT_MS = 10_000;

/** Over http or https only, without following redirects: what is told goes to the address that was set. */
export const postJson: Post = async (url, body) => {
  const { protocol, host } = new URL(url);
  if (protocol !== 'http:' && protocol !== 'https:')
    return { ok: false, again: false, sentence: 'The address is neither http nor https.' };
  try {
    const reply = await fetch(url, {
      method: 'POST',
      headers: { 'content-type': 'application/json', 'user-agent': 'nightdraw' },
      body: JSON.stringify(body),
      redirect: 'manual',
      signal: AbortSignal.timeout(TIMEOUT_MS),
    });
    await reply.body?.cancel();
    if (reply.ok) return { ok: true, again: false, sentence: `${host} took the message.` };
    const again = reply.status >= 500 || reply.status === 429 || reply.status === 408;
    return { ok: false, again, sentence: `${host} answered with status ${reply.status}.` };
  } catch (error) {
    const late = error instanceof Error && error.name === 'TimeoutError';
    const sentence = late
      ? `${host} did not answer within ${TIMEOUT_MS / 1000} s.`
      : `${host} could not be reached.`;
    return { ok: false, again: true, sentence };
  }
};

/** Waits before the second, third ... try: a router that restarts, a phone that changes its network. */
const RETRY_MS = [5_000, 30_000, 120_000, 600_000];

/** Sends messages one after the other, each until it is taken or given up. */
export class Webhook {
  private queue: { readonly url: string; readonly body: WebhookBody; tries: number }[] = [];
  private timer: Cancel | null = null;
  private sending = false;
  private closed = false;
  /** How the last try went; empty before the first. */
  sentence = '';

  constructor(
    private readonly clock: Clock,
    private readonly post: Post,
    private readonly log: (line: string) => void,
  ) {}

  send(url: string, body: WebhookBody): void {
    this.queue.push({ url, body, tries: 0 });
    if (!this.sending && this.timer === null) void this.next();
  }

  close(): void {
    this.closed = true;
    this.timer?.();
    this.timer = null;
    this.queue = [];
  }

  private async next(): Promise<void> {
    const first = this.queue[0];
    if (first === undefined || this.closed) return;
    this.sending = true;
    const result = await this.post(first.url, first.body);
    this.sending = false;
    if (this.closed) return;
    this.sentence = result.sentence;
    const wait = RETRY_MS[first.tries++];
    if (!result.ok && result.again && wait !== undefined) {
      this.timer = this.clock.after(wait, () => {
        this.timer = null;
        void this.next();
      });
      return;
    }
    if (!result.ok) {
      this.sentence = `A warning could not be sent: ${result.sentence}`;
      this.log(`webhook: ${result.sentence}`);
    }
    this.queue.shift();
    void this.next();
  }
}
