import { spawn } from 'node:child_process';
import { once } from 'node:events';
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import path from 'node:path';
import { setTimeout as wait } from 'node:timers/promises';
import { afterAll, beforeAll, expect, test } from 'vitest';
import { readHead } from '../../server/evidence/heads.ts';
import { consistencyPath, isConsistent } from '../../server/evidence/merkle.ts';
import { unhex } from '../../server/evidence/octets.ts';
import { verifyBundle } from '../../server/evidence/verify.ts';
import { nodeChecker } from '../../server/sealing/checker.ts';
import { logFile, readLog } from '../../server/sealing/headLog.ts';
import { signerIn } from '../../server/sealing/keyFile.ts';
import { nightBlocks } from '../../server/sealing/nightBlocks.ts';
import { faultsOfLog } from '../../server/sealing/sealNight.ts';
import { openStore } from '../../server/store/openStore.ts';
import { bundleForNode } from '../helpers/bundle.ts';
import { startNight } from '../helpers/nightBeingSealed.ts';
import { SEALED_AT, sealedOctets, VERSION } from '../helpers/sealedNight.ts';
import { seeded } from '../helpers/seeded.ts';

const START = Date.UTC(2026, 2, 1, 20);
const data = mkdtempSync(path.join(tmpdir(), 'nightdraw-crash-sealed-'));
let program: Awaited<ReturnType<typeof bundleForNode>>;
beforeAll(async () => (program = await bundleForNode('tests/crash/sealer.ts')));
afterAll(() => {
  program.remove();
  rmSync(data, { recursive: true });
});

async function killedAfter(delayMs: number): Promise<void> {
  const child = spawn(process.execPath, [program.file, data], { stdio: ['ignore', 'pipe', 'inherit'] });
  child.stdout.resume();
  await once(child.stdout, 'data');
  await wait(delayMs);
  const ended = once(child, 'close');
  child.kill('SIGKILL');
  expect(await ended).toEqual([null, 'SIGKILL']);
}

test('after each kill -9 the log and the database still agree, and every head leads to the next', async () => {
  const file = path.join(data, 'nightdraw.db');
  const first = openStore(file);
  const id = startNight(first, START);
  first.close();
  const random = seeded(7);
  let heads: readonly string[] = [];
  for (let round = 0; round < 6; round++) {
    await killedAfter(random() * 400);
    const log = readLog(logFile(data, id));
    // What was signed before the kill is there after it.
    expect(log.heads.slice(0, heads.length)).toEqual(heads);
    const hashes = log.leaves.map((l) => unhex(l.leaf.hash));
    for (let i = heads.length; i < log.heads.length; i++) {
      if (i === 0) continue;
      const [older, newer] = [log.heads[i - 1]!, log.heads[i]!].map((line) => readHead(line, nodeChecker));
      const proof = consistencyPath(older!.size, hashes.slice(0, newer!.size), nodeChecker.sha256);
      expect(
        isConsistent(
          { size: older!.size, root: unhex(older!.root) },
          { size: newer!.size, root: unhex(newer!.root) },
          proof,
          nodeChecker.sha256,
        ),
      ).toBe(true);
    }
    heads = log.heads;
    const store = openStore(file);
    expect(nightBlocks(store, id, log).faults).toEqual([]);
    store.close();
  }
  expect(faultsOfLog(data, id)).toEqual([]);
  // One a round at least: a round is killed after its first minute.
  expect(heads.length).toBeGreaterThanOrEqual(6);
  const store = openStore(file);
  const { t } = store.readSamples(store.getRecording(id).channels[0]!.id);
  store.stopRecording(id, t.at(-1)!);
  const bundle = sealedOctets(store, id, {
    data,
    signer: signerIn(data),
    version: VERSION,
    sealedAt: SEALED_AT,
    without: [],
  });
  store.close();
  expect(verifyBundle(bundle, nodeChecker)).toMatchObject({
    status: 'intact',
    statement: { heads: heads.length },
  });
});
