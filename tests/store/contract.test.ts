import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import path from 'node:path';
import { afterAll } from 'vitest';
import { openStore } from '../../server/store/openStore.ts';
import type { Store } from '../../server/store/store.ts';
import { storeContract } from '../contract/store.ts';
import { papersContract } from '../contract/storePapers.ts';
import { memoryStore } from '../helpers/memoryStore.ts';

const folder = mkdtempSync(path.join(tmpdir(), 'nightdraw-contract-'));
const opened: Store[] = [];
let files = 0;
afterAll(() => {
  for (const store of opened) store.close();
  rmSync(folder, { recursive: true });
});

const onDisk = (): Store => {
  const store = openStore(path.join(folder, `${++files}.db`));
  opened.push(store);
  return store;
};
for (const contract of [storeContract, papersContract]) {
  contract('memory', memoryStore);
  contract('SQLite', onDisk);
}
