import { describe, expect, test } from 'vitest';
import { createAbort } from '../../drivers/core/abort.ts';
import type { SeenMeter } from '../../drivers/core/link.ts';
import { bench, failure, meter, pause, SERVICE, until, VALUE, type Bench } from './fixture.ts';

/** A scan in the background; `seen` grows. */
function scanning({ link }: Bench, services: readonly string[] = []) {
  const seen: SeenMeter[] = [];
  const { signal, abort } = createAbort();
  const ended = link.find({ services, signal, onSeen: (found) => seen.push(found) });
  return { seen, ended, abort };
}

describe('scanning', () => {
  test('shows address, name, strength and services, again and again', async () => {
    const b = await bench([meter('a')]);
    const { seen, ended, abort } = scanning(b);
    await until(() => seen.length >= 3);
    abort();
    await ended;
    expect(seen.at(-1)).toEqual({
      id: b.rig.peripheral('a').address,
      name: 'Meter a',
      rssi: -55,
      services: [SERVICE],
    });
    b.rig.peripheral('a').rssi = -40;
    const count = seen.length;
    await pause(300);
    expect(seen).toHaveLength(count); // called off
    await until(() => !b.rig.adapter.isScanning);
  });

  test('two finds at once, each with its filter; one ends, the other goes on', async () => {
    const b = await bench([meter('a')]);
    const all = scanning(b);
    const other = scanning(b, ['0000180f-0000-1000-8000-00805f9b34fb']);
    await until(() => all.seen.length > 0);
    other.abort();
    await other.ended;
    const count = all.seen.length;
    await until(() => all.seen.length > count);
    expect(other.seen).toEqual([]);
    all.abort();
    await all.ended;
  });

  test('what an advertisement says is taken as it was when it arrived', async () => {
    let name = 'First';
    const b = await bench([
      {
        ...meter('a'),
        get name() {
          return name;
        },
      },
    ]);
    const { seen, ended, abort } = scanning(b);
    await until(() => seen.length > 0);
    name = 'Second';
    await until(() => seen.at(-1)!.name === 'Second', 3000); // a change is told at once, not at the next turn
    expect(seen[0]!.name).toBe('First');
    abort();
    await ended;
  });

  test.each([
    ['with a command that is seen', false],
    ['without a word', true],
  ])('goes on after another program has stopped it %s', async (_, silently) => {
    const b = await bench([meter('a')]);
    const { seen, ended, abort } = scanning(b);
    await until(() => seen.length > 0);
    b.rig.stopScanElsewhere(silently);
    expect(b.rig.adapter.isScanning).toBe(false);
    await until(() => b.rig.adapter.isScanning, silently ? 8000 : 1500);
    const count = seen.length;
    await until(() => seen.length > count);
    abort();
    await ended;
  });

  test('goes on after a connect, and while a meter is connected', async () => {
    const b = await bench([meter('a'), meter('b')]);
    const { seen, ended, abort } = scanning(b);
    const connection = await b.connect('a');
    const from = seen.length;
    await until(() => seen.slice(from).some((m) => m.name === 'Meter b'));
    expect(await connection.read(VALUE)).toEqual(Uint8Array.of(7));
    abort();
    await ended;
  });

  test('the radio process is replaced when it has grown, but not under a meter; the scan goes on', async () => {
    const b = await bench([meter('a')], { memoryGrowthBytes: 15e6 });
    const { seen, ended, abort } = scanning(b);
    const connection = await b.connect('a');
    const pid = b.rig.programPid();
    b.rig.crowd(20_000);
    await pause(1500);
    expect(b.rig.programPid()).toBe(pid);
    expect(await connection.read(VALUE)).toEqual(Uint8Array.of(7));
    await connection.close();
    await until(() => b.rig.programPid() !== null && b.rig.programPid() !== pid);
    const from = seen.length;
    await until(() => seen.slice(from).some((m) => m.name === 'Meter a'));
    abort();
    await ended;
  });
});

describe('connecting', () => {
  test('two meters at the same time', async () => {
    const b = await bench([meter('a'), meter('b', Uint8Array.of(8))]);
    const [one, two] = await Promise.all([b.connect('a'), b.connect('b')]);
    expect(await one.read(VALUE)).toEqual(Uint8Array.of(7));
    expect(await two.read(VALUE)).toEqual(Uint8Array.of(8));
    expect(await failure(b.connect('a'))).toBe('refused'); // connected already
  });

  test('a meter that takes no connection holds the others up only for its own time', async () => {
    const b = await bench([meter('a'), meter('b')]);
    b.rig.peripheral('a').deaf = true;
    const [first, second] = await Promise.all([failure(b.connect('a', 1200)), b.connect('b')]);
    expect(first).toBe('timed-out');
    expect(await second.read(VALUE)).toEqual(Uint8Array.of(7));
    b.rig.peripheral('a').deaf = false;
    expect(await (await b.connect('a')).read(VALUE)).toEqual(Uint8Array.of(7));
    expect(await second.read(VALUE)).toEqual(Uint8Array.of(7)); // not dropped by the call-off
  });

  test('a meter is connected to again while its last connection is still being closed', async () => {
    const b = await bench([meter('a')]);
    for (let i = 0; i < 5; i++) {
      const connection = await b.connect('a');
      expect(await connection.read(VALUE)).toEqual(Uint8Array.of(7));
      void connection.close();
    }
    expect(b.rig.peripheral('a').connects).toBe(5);
  });

  test('a meter that is away does not hold the others up at all', async () => {
    const b = await bench([meter('a'), meter('b')]);
    b.rig.peripheral('a').outOfRange(true);
    const away = failure(b.connect('a', 2200));
    const fromMs = performance.now();
    await b.connect('b');
    expect(performance.now() - fromMs).toBeLessThan(2000);
    expect(await away).toBe('not-found');
  });

  test('called off while it is under way, it leaves the adapter free', async () => {
    const b = await bench([meter('a')]);
    b.rig.peripheral('a').deaf = true;
    const { signal, abort } = createAbort();
    const connecting = b.link.connect(b.rig.peripheral('a').address, { timeoutMs: 8000, signal });
    await until(() => b.rig.adapter.isConnecting);
    abort();
    expect(await failure(connecting)).toBe('aborted');
    await until(() => !b.rig.adapter.isConnecting);
    b.rig.peripheral('a').deaf = false;
    expect(await (await b.connect('a')).read(VALUE)).toEqual(Uint8Array.of(7));
  });

  test('somebody walks past: a second without radio does not end a connection, five seconds do', async () => {
    const b = await bench([meter('a')]);
    const connection = await b.connect('a');
    const drops: string[] = [];
    connection.onDropped((reason) => drops.push(reason));
    const peripheral = b.rig.peripheral('a');
    peripheral.outOfRange(true);
    await pause(1000);
    peripheral.outOfRange(false);
    expect(await connection.read(VALUE)).toEqual(Uint8Array.of(7));
    expect(drops).toEqual([]);
    peripheral.outOfRange(true);
    await until(() => drops.length > 0);
    expect(drops).toEqual(['The meter went out of range or was switched off.']);
    peripheral.outOfRange(false);
    expect(await (await b.connect('a')).read(VALUE)).toEqual(Uint8Array.of(7));
  });
});
