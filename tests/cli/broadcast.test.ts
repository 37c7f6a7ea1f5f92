import { createCipheriv } from 'node:crypto';
import { rmSync, writeFileSync } from 'node:fs';
import path from 'node:path';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { encodeInteger } from '../../drivers/core/integers.ts';
import type { ReplayPeer } from '../../drivers/links/replay/peer.ts';
import { BTHOME_SERVICE } from '../../drivers/meters/bthome/fields.ts';
import { encodePacket, nonceOf } from '../../drivers/meters/bthome/frame.ts';
import { recordingSchema } from '../../server/messages/records.ts';
import { openStore } from '../../server/store/openStore.ts';
import { startRig, type Rig } from '../bluetooth/rig.ts';
import { temporaryFolder } from '../helpers/hubBench.ts';
import { runCommand } from '../helpers/runCommand.ts';

const SECRET = '231d39c1d7cc1ab1aee224cd096db932';
const own = { NODE_OPTIONS: process.env.NODE_OPTIONS, NIGHTDRAW_RIG: process.env.NIGHTDRAW_RIG };

/** Broadcasts 12.000 V and a millivolt more with each of its ten packets a second, encrypted. */
function beacon(address: () => string): ReplayPeer {
  return {
    id: 'beacon',
    name: 'Battery beacon',
    services: [],
    characteristics: [],
    inRange: () => true,
    connected: () => () => undefined,
    read: () => Uint8Array.of(),
    broadcast(nowMs) {
      const [info, counter] = [0x41, Math.floor(nowMs / 100)];
      const nonce = nonceOf(address(), info, counter);
      const cipher = createCipheriv('aes-128-ccm', Buffer.from(SECRET, 'hex'), nonce, { authTagLength: 4 });
      const objects = Uint8Array.from([0x0c, ...encodeInteger(12_000 + (counter % 1000), 2, false)]);
      const ciphertext = new Uint8Array(cipher.update(objects));
      cipher.final();
      const bytes = encodePacket({ encrypted: true, info, ciphertext, counter, mic: cipher.getAuthTag() });
      return [{ uuid: BTHOME_SERVICE, bytes }];
    },
  };
}

describe('a meter that only broadcasts, from the command line', { timeout: 60_000 }, () => {
  let data: string;
  let rig: Rig;
  beforeEach(async () => {
    data = temporaryFolder();
    rig = await startRig({ peripherals: [{ peer: beacon(() => rig.peripheral('beacon').address) }] });
    Object.assign(process.env, rig.env);
  });
  afterEach(async () => {
    for (const [name, value] of Object.entries(own))
      if (value === undefined) delete process.env[name];
      else process.env[name] = value;
    await rig.close();
    rmSync(data, { recursive: true, force: true });
  });

  it('is listed as a meter, and recorded with the key beside the database', async () => {
    const { address } = rig.peripheral('beacon');
    const { stdout } = await runCommand(['meters', '--seconds', '1', '--json']);
    expect(JSON.parse(stdout)).toMatchObject([{ id: address, name: 'Battery beacon', known: true }]);

    writeFileSync(path.join(data, 'bind-keys.json'), JSON.stringify({ [address]: SECRET }));
    const argv = ['record', '--meter', address, '--seconds', '3', '--data', data, '--json'];
    const { code, stdout: printed, stderr } = await runCommand(argv);
    expect([code, stderr]).toEqual([0, '']);
    const recording = recordingSchema.parse(JSON.parse(printed));
    expect(recording.channels).toMatchObject([{ quantity: 'voltage', driver: 'BTHome broadcasts' }]);
    const store = openStore(path.join(data, 'nightdraw.db'));
    const { counts } = store.readSamples(recording.channels[0]!.id);
    store.close();
    expect(counts.length).toBeGreaterThan(20);
    expect(Math.min(...counts)).toBeGreaterThanOrEqual(12_000);
    expect(Math.max(...counts)).toBeLessThan(13_000);
    expect(new Set(counts).size).toBe(counts.length); // each packet once
  });
});
