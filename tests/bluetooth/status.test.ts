import { cpSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import os from 'node:os';
import path from 'node:path';
import { fileURLToPath } from 'node:url';
import { describe, expect, test } from 'vitest';
import { bluetoothStatusSchema } from '../../server/messages/meters.ts';
import { createNodeLink } from '../../drivers/links/node/link.ts';
import { READY, STARTING, unavailable, UNAVAILABLE_REASONS } from '../../drivers/links/node/status.ts';
import { bench, droppedWith, failure, meter, until, VALUE } from './fixture.ts';

describe('why Bluetooth cannot be used, told apart', () => {
  test.each([
    ['no native part of the library', { installed: false }, 'library-missing', 'no-bluetooth'],
    ['no AF_BLUETOOTH in the kernel', { supported: false }, 'no-bluetooth-support', 'no-bluetooth'],
    ['no adapter', { present: false }, 'no-adapter', 'no-bluetooth'],
    ['an adapter that is off', { up: false }, 'adapter-off', 'no-bluetooth'],
    ['no cap_net_raw', { allowed: false }, 'not-allowed', 'not-allowed'],
  ] as const)('%s', async (_, state, reason, code) => {
    const b = await bench([meter('a')], {}, { state });
    expect(await failure(b.link.ready())).toBe(code);
    expect(b.link.status()).toEqual(unavailable(reason, process.platform));
    expect(await failure(b.connect('a'))).toBe(code);
    expect(await failure(b.scan(() => true))).toBe(code);
  });

  test('no library at all', async () => {
    const folder = mkdtempSync(path.join(os.tmpdir(), 'nightdraw-'));
    const build = fileURLToPath(new URL('../../.build/server/', import.meta.url));
    cpSync(build, path.join(folder, 'server'), { recursive: true });
    writeFileSync(path.join(folder, 'package.json'), '{"type":"module"}');
    const link = createNodeLink({ childPath: path.join(folder, 'server', 'child.js') });
    const statuses: string[] = [];
    link.onStatus((status) => statuses.push(String(status.reason)));
    link.start();
    await until(() => statuses.length > 0);
    expect(statuses).toEqual(['library-missing']);
    await link.close();
    rmSync(folder, { recursive: true });
  });

  test('an adapter that says nothing', async () => {
    const b = await bench([], { powerOnMs: 400 });
    b.rig.adapter.fromHost = () => undefined;
    expect(await failure(b.scan(() => true))).toBe('link-died');
    expect(b.link.status()).toEqual(unavailable('not-answering', process.platform));
  });

  test('an adapter that is plugged in or allowed later is found at the next request', async () => {
    const b = await bench([meter('a')], {}, { state: { present: false } });
    expect(await failure(b.connect('a'))).toBe('no-bluetooth');
    b.rig.set({ present: true, allowed: false });
    expect(await failure(b.connect('a'))).toBe('not-allowed');
    b.rig.set({ allowed: true });
    await b.link.ready();
    expect(await (await b.connect('a')).read(VALUE)).toEqual(Uint8Array.of(7));
  });
});

describe('an adapter that is switched off', () => {
  test('while meters are connected: they are dropped, and all works again when it is on', async () => {
    const b = await bench([meter('a')]);
    const connection = await b.connect('a');
    const dropped = droppedWith(connection);
    b.rig.set({ up: false });
    expect(await dropped).toBe('The Bluetooth adapter was switched off or unplugged.');
    await until(() => b.link.status().reason === 'adapter-off');
    expect(await failure(b.connect('a'))).toBe('no-bluetooth');
    b.rig.set({ up: true });
    await until(() => b.link.status().state === 'ready'); // by itself: the new process watches
    const again = await b.connect('a');
    expect(await again.read(VALUE)).toEqual(Uint8Array.of(7));
    expect(b.statuses.map((s) => s.reason ?? s.state)).toEqual(['ready', 'adapter-off', 'ready']);
  });

  test('ends a scan with the reason', async () => {
    const b = await bench([meter('a')]);
    const scanning = failure(b.scan(() => false));
    await until(() => b.rig.adapter.isScanning);
    b.rig.set({ up: false });
    expect(await scanning).toBe('no-bluetooth');
  });
});

describe('the sentences', () => {
  test.each(['linux', 'darwin', 'win32'] as const)('on %s fit the message and say what to do', (platform) => {
    for (const status of [READY, STARTING, ...UNAVAILABLE_REASONS.map((r) => unavailable(r, platform))]) {
      expect(bluetoothStatusSchema.parse(status)).toEqual(status);
      expect(status.sentence).toMatch(/^[A-Z][^\n]*[^.]\.$/);
      if (status.state === 'unavailable')
        expect(status.sentence).toMatch(/: (run|plug|switch|install|allow|unplug)/);
    }
  });

  test('the reasons are those of the message', () => {
    expect(bluetoothStatusSchema.shape.reason.unwrap().options).toEqual([...UNAVAILABLE_REASONS]);
  });
});
