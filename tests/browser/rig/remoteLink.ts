import type { Page } from 'playwright-core';
import { LinkError, type LinkErrorCode } from '../../../drivers/core/errors.ts';
import type { Abort } from '../../../drivers/core/clock.ts';
import type { CharacteristicInfo, Connection, Link, OnBytes, SeenMeter } from '../../../drivers/core/link.ts';
import type { RemoteEvent, RemoteResult } from './remote.ts';
import type {} from '../pages/linkPage.ts';

/** The browser link of a page as a `Link` of the test process: every call goes to the page and back. */
export async function remoteLink(page: Page): Promise<Link> {
  let next = 1;
  const finds = new Map<
    number,
    { seen: (meter: SeenMeter) => void; done: (r: RemoteResult<null>) => void }
  >();
  const listeners = new Map<number, OnBytes>();
  const dropped = new Map<number, { reason: string | null; listeners: ((reason: string) => void)[] }>();

  await page.exposeFunction('tell', (event: RemoteEvent) => {
    if (event.kind === 'seen') finds.get(event.call)?.seen(event.meter as SeenMeter);
    else if (event.kind === 'found') finds.get(event.call)?.done(event.result);
    else if (event.kind === 'bytes')
      listeners.get(event.listener)?.(Uint8Array.from(event.bytes), event.atMs);
    else {
      const drop = dropsOf(event.connection);
      drop.reason = event.reason;
      for (const listener of drop.listeners) listener(event.reason);
    }
  });

  function dropsOf(connection: number) {
    const drops = dropped.get(connection) ?? { reason: null, listeners: [] };
    dropped.set(connection, drops);
    return drops;
  }

  /** Passes an abort on to the page's call of that number. */
  function follow(signal: Abort, call: number): () => void {
    const onAbort = (): void => void page.evaluate((n) => window.bench.abort(n), call);
    if (signal.aborted) onAbort();
    signal.addEventListener('abort', onAbort);
    return () => signal.removeEventListener('abort', onAbort);
  }

  return {
    kind: 'browser',
    async find({ services, alsoUse = [], signal, onSeen }) {
      const call = next++;
      const found = new Promise<RemoteResult<null>>((done) => finds.set(call, { seen: onSeen, done }));
      await page.evaluate(([n, s, a]) => window.bench.armFind(n, s, a), [
        call,
        [...services],
        [...alsoUse],
      ] as const);
      const unfollow = follow(signal, call);
      await page.click('button');
      valueOf(await found);
      unfollow();
    },
    async connect(id, { timeoutMs, signal }) {
      const call = next++;
      const connecting = page.evaluate(([n, i, ms]) => window.bench.connect(n, i, ms), [
        call,
        id,
        timeoutMs,
      ] as const);
      const unfollow = follow(signal, call);
      const { number, meter, characteristics } = valueOf(await connecting);
      unfollow();
      return connectionOf(number, meter, characteristics);
    },
  };

  function connectionOf(
    number: number,
    meter: SeenMeter,
    characteristics: readonly CharacteristicInfo[],
  ): Connection {
    return {
      meter,
      characteristics,
      async read(ref) {
        const result = await page.evaluate(([n, r]) => window.bench.read(n, r), [number, ref] as const);
        return Uint8Array.from(valueOf(result));
      },
      async readDescriptor(ref, uuid) {
        const result = await page.evaluate(([n, r, u]) => window.bench.readDescriptor(n, r, u), [
          number,
          ref,
          uuid,
        ] as const);
        return Uint8Array.from(valueOf(result));
      },
      async write(ref, bytes, withResponse) {
        valueOf(
          await page.evaluate(([n, r, b, w]) => window.bench.write(n, r, b, w), [
            number,
            ref,
            [...bytes],
            withResponse,
          ] as const),
        );
      },
      async subscribe(ref, onBytes) {
        const listener = next++;
        listeners.set(listener, onBytes);
        valueOf(
          await page.evaluate(([n, r, l]) => window.bench.subscribe(n, r, l), [
            number,
            ref,
            listener,
          ] as const),
        );
      },
      onDropped(listener) {
        const drops = dropsOf(number);
        if (drops.reason !== null) listener(drops.reason);
        else drops.listeners.push(listener);
      },
      async close() {
        valueOf(await page.evaluate((n) => window.bench.close(n), number));
      },
    };
  }
}

function valueOf<T>(result: RemoteResult<T>): T {
  if ('error' in result) throw new LinkError(result.error.code as LinkErrorCode, result.error.message);
  return result.value;
}
