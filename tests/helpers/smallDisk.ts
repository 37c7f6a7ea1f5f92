import { spawnSync } from 'node:child_process';
import { mkdtempSync, rmdirSync } from 'node:fs';
import { tmpdir } from 'node:os';
import path from 'node:path';

export interface SmallDisk {
  readonly folder: string;
  remove(): void;
}

/** A filesystem of its own of `mib` MiB (needs root), or the reason why there is none. */
export function smallDisk(mib: number): SmallDisk | string {
  const folder = mkdtempSync(path.join(tmpdir(), 'nightdraw-small-disk-'));
  const run = spawnSync('mount', ['-t', 'tmpfs', '-o', `size=${mib}m`, 'nightdraw-test', folder], {
    encoding: 'utf8',
  });
  if (run.status !== 0) {
    rmdirSync(folder);
    return run.error?.message ?? run.stderr.trim();
  }
  return {
    folder,
    remove() {
      spawnSync('umount', [folder]);
      rmdirSync(folder);
    },
  };
}
