import { createServer } from 'node:http';
import type { AddressInfo } from 'node:net';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { freeMegabytes } from '../../server/capture/diskSpace.ts';
import { postJson, Webhook, type PostResult } from '../../server/capture/webhook.ts';
import { Watch } from '../../server/capture/watch.ts';
import { FindingsDesk } from '../../server/http/findings.ts';
import type { Recording } from '../../server/messages/records.ts';
import { watchSettingsSchema, webhookBodySchema, type WebhookBody } from '../../server/messages/watch.ts';
import { FakeMeter } from '../helpers/fakeMeter.ts';
import { createBench, type Bench } from '../helpers/hubBench.ts';
import { ManualClock } from '../helpers/manualClock.ts';

const SETTINGS = watchSettingsSchema.parse({ floorV: 12, quietS: 60, awakeAfterS: 3600, diskFreeMb: 100 });
const KEY = 'server:one';

let clock: ManualClock;
let bench: Bench;
let meter: FakeMeter;
let watch: Watch;
let disk: number | null;
let analysed: number;
const posted: { url: string; body: WebhookBody }[] = [];

function watchOver(of: Bench): Watch {
  const desk = new FindingsDesk(of.store);
  return new Watch({
    store: of.store,
    clock,
    running: () => of.hub.runningRecordings(),
    findingsOf: (id) => {
      analysed++;
      return desk.findingsOf(id, {});
    },
    diskFreeMb: () => disk,
    onWarning: (id, warning) => of.hub.warn(id, warning.text),
    log: () => undefined,
    post: (url, body) => {
      posted.push({ url, body: webhookBodySchema.parse(body) });
      return Promise.resolve({ ok: true, again: false, sentence: 'Taken.' });
    },
  });
}

beforeEach(() => {
  clock = new ManualClock();
  meter = new FakeMeter('one');
  bench = createBench({ clock, meters: [meter] });
  disk = null;
  analysed = 0;
  posted.length = 0;
  watch = watchOver(bench);
});
afterEach(async () => {
  watch.close();
  await bench.close();
});

async function startNight(
  kind: Recording['kind'] & ('overnight-test' | 'live-watch') = 'overnight-test',
): Promise<string> {
  bench.hub.connect(KEY);
  await clock.advance(200);
  return bench.hub.startRecording({ caseId: null, kind, title: 'Night', zone: 'UTC', meters: [KEY] }).id;
}

/** The meter says so once a second. */
async function say(seconds: number, volts: number, milliamps = 500): Promise<void> {
  for (let s = 0; s < seconds; s++) {
    meter.sendVoltage(Math.round(volts * 64));
    meter.sendCurrent(Math.round(milliamps / 10));
    await clock.advance(1000);
  }
}
const warningsIn = (id: string, of = bench): string[] =>
  of.store.listEvents(id).filter((e) => e.kind === 'warning').map((e) => e.text); // prettier-ignore

describe('the watch over a night', () => {
  it('works the findings out again each minute, and no more often', async () => {
    const id = await startNight();
    await say(30, 12.6);
    expect(analysed).toBe(1);
    await say(180, 12.6);
    expect(analysed).toBeGreaterThanOrEqual(3);
    expect(analysed).toBeLessThanOrEqual(5);
    const report = watch.report(id);
    expect(report).toMatchObject({ armed: null, warnings: [], webhook: '' });
    expect(report.glance).toMatch(/^Not settled yet after \d/);
  });

  it('warns of a low battery once, after half a minute, and again only after it was right for long enough', async () => {
    const id = await startNight();
    watch.arm(id, SETTINGS);
    await say(60, 12.6);
    await say(20, 11.9); // a try, a pulse
    await say(40, 12.6);
    expect(warningsIn(id)).toEqual([]);
    await say(60, 11.9);
    expect(warningsIn(id)).toEqual(['The battery is at 11.91 V, below the floor of 12.00 V.']);
    expect(watch.report(id).warnings.map((w) => w.code)).toEqual(['battery-low']);
    await say(60, 12.05); // not clearly right
    expect(watch.report(id).warnings).toHaveLength(1);
    await say(60, 12.4);
    expect(watch.report(id).warnings).toEqual([]);
    await say(60, 11.9);
    expect(watch.report(id).warnings).toHaveLength(1); // holds, but was told not long ago
    expect(warningsIn(id)).toHaveLength(1);
  });

  it('warns of a meter that went quiet, by its name, and ends when it speaks again', async () => {
    const id = await startNight();
    watch.arm(id, SETTINGS);
    await say(30, 12.6);
    await clock.advance(90_000);
    expect(warningsIn(id)).toEqual([expect.stringMatching(/^Meter one has been quiet for 1 min/)]);
    await say(10, 12.6);
    expect(watch.report(id).warnings).toEqual([]);
  });

  it('warns of a car that does not sleep', async () => {
    const id = await startNight();
    watch.arm(id, { ...SETTINGS, awakeAfterS: 120 });
    await say(110, 12.6, 800);
    expect(warningsIn(id)).toEqual([]);
    await say(90, 12.6, 800);
    expect(warningsIn(id)).toEqual([expect.stringMatching(/^The car is still awake after 2 min/)]);
  });

  it('warns of a disk that fills', async () => {
    const id = await startNight();
    watch.arm(id, SETTINGS);
    disk = 99.7;
    await say(10, 12.6);
    expect(warningsIn(id)).toEqual(['The disk has 99 MB left; recording stops when it is full.']);
    disk = 110;
    await say(10, 12.6);
    expect(watch.report(id).warnings).toHaveLength(1);
    disk = 5000;
    await say(10, 12.6);
    expect(watch.report(id).warnings).toEqual([]);
  });

  it('says nothing while it is not armed, nor of what is switched off', async () => {
    const id = await startNight();
    await say(60, 11.5);
    expect(warningsIn(id)).toEqual([]);
    watch.arm(id, { ...SETTINGS, floorV: null, quietS: null });
    await say(60, 11.5);
    await clock.advance(120_000);
    expect(warningsIn(id)).toEqual([]);
    watch.arm(id, SETTINGS);
    watch.arm(id, null);
    await say(60, 11.5);
    expect(warningsIn(id)).toEqual([]);
  });

  it('goes on after a restart of the server, and does not tell again what it told', async () => {
    const id = await startNight();
    watch.arm(id, SETTINGS);
    await say(90, 11.9);
    expect(warningsIn(id)).toHaveLength(1);
    watch.close();
    await bench.hub.close();
    const again = bench.restart();
    again.hub.resume();
    watch = watchOver(again);
    await say(90, 11.9);
    expect(watch.report(id).armed).toMatchObject({ floorV: 12 });
    expect(watch.report(id).warnings.map((w) => w.code)).toEqual(['battery-low']);
    expect(warningsIn(id, again).filter((t) => t.includes('floor'))).toHaveLength(1);
    await again.hub.close();
  });

  it('tells the webhook, whose address it never shows', async () => {
    const id = await startNight();
    const report = watch.arm(id, { ...SETTINGS, webhook: 'https://hook.example/secret-part' });
    expect(report.armed).toMatchObject({ webhookHost: 'hook.example' });
    expect(JSON.stringify(report)).not.toContain('secret-part');
    expect(watch.arm(id, { ...SETTINGS, webhook: undefined, floorV: 12.1 }).armed).toMatchObject({
      floorV: 12.1,
      webhookHost: 'hook.example',
    });
    await say(90, 11.9);
    expect(posted).toHaveLength(1);
    expect(posted[0]!.url).toBe('https://hook.example/secret-part');
    expect(posted[0]!.body).toMatchObject({ recording: { id, title: 'Night' }, test: false });
    expect(posted[0]!.body.warning).toMatchObject({ code: 'battery-low' });
    expect(await watch.tryWebhook(id)).toMatchObject({ ok: true });
    expect(posted[1]!.body).toMatchObject({ test: true, warning: null });
    watch.arm(id, { ...SETTINGS, webhook: null });
    expect((await watch.tryWebhook(id)).sentence).toBe('No address is set.');
  });
});

describe('the webhook', () => {
  const body: WebhookBody = {
    schema: 'nightdraw.warning/1',
    recording: { id: 'abcd1234', title: 'Night' },
    at: '2026-01-05T21:13:01.500Z',
    warning: null,
    test: true,
  };

  it('tries again while that may help, then gives up and says so without the address', async () => {
    const answers: PostResult[] = [
      { ok: false, again: true, sentence: 'h could not be reached.' },
      { ok: true, again: false, sentence: 'h took the message.' },
      ...Array.from({ length: 5 }, () => ({
        ok: false,
        again: true,
        sentence: 'h answered with status 503.',
      })),
      { ok: false, again: false, sentence: 'h answered with status 404.' },
    ];
    const log: string[] = [];
    let posts = 0;
    const hook = new Webhook(clock, () => Promise.resolve(answers[posts++]!), (line) => log.push(line)); // prettier-ignore
    hook.send('https://h/secret', body);
    await clock.advance(4000);
    expect([posts, hook.sentence]).toEqual([1, 'h could not be reached.']);
    await clock.advance(2000);
    expect([posts, hook.sentence]).toEqual([2, 'h took the message.']);
    hook.send('https://h/secret', body);
    hook.send('https://h/secret', body);
    await clock.advance(800_000);
    expect(posts).toBe(8);
    expect(log).toEqual(['webhook: h answered with status 503.', 'webhook: h answered with status 404.']);
    hook.close();
  });

  it('posts JSON, follows no redirect, and reports what came back', async () => {
    const heard: { type: string | undefined; text: string }[] = [];
    const server = createServer((request, response) => {
      let text = '';
      request.on('data', (chunk: Buffer) => (text += chunk.toString()));
      request.on('end', () => {
        heard.push({ type: request.headers['content-type'], text });
        if (request.url === '/moved') response.writeHead(302, { location: '/ok' });
        else response.writeHead(request.url === '/ok' ? 204 : request.url === '/busy' ? 503 : 404);
        response.end();
      });
    });
    await new Promise<void>((done) => server.listen(0, '127.0.0.1', done));
    const host = `127.0.0.1:${(server.address() as AddressInfo).port}`;
    expect(await postJson(`http://${host}/ok`, body)).toEqual({
      ok: true,
      again: false,
      sentence: `${host} took the message.`,
    });
    expect(await postJson(`http://${host}/busy`, body)).toMatchObject({ ok: false, again: true });
    expect(await postJson(`http://${host}/gone`, body)).toMatchObject({ ok: false, again: false });
    expect(await postJson(`http://${host}/moved`, body)).toMatchObject({ ok: false, again: false });
    expect(heard).toHaveLength(4);
    expect(heard[0]).toEqual({ type: 'application/json', text: JSON.stringify(body) });
    await new Promise((done) => server.close(done));
    expect(await postJson(`http://${host}/ok`, body)).toEqual({
      ok: false,
      again: true,
      sentence: `${host} could not be reached.`,
    });
    expect(await postJson('file:///etc/passwd', body)).toMatchObject({ ok: false, again: false });
  });

  it.each(['ftp://h/x', 'javascript:alert(1)', 'https://user:word@h/x', 'not an address', 'file:///x'])(
    'has no address such as %s',
    (webhook) => {
      expect(watchSettingsSchema.safeParse({ webhook }).success).toBe(false);
    },
  );
});

it('the room on the disk is known here', () => {
  expect(freeMegabytes('/tmp')).toBeGreaterThan(0);
  expect(freeMegabytes('/no/such/folder')).toBeNull();
});
