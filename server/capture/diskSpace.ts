import { statfsSync } from 'node:fs';

/** Megabytes that are free for this user where the folder is; null where the system does not say. */
export function freeMegabytes(folder: string): number | null {
  try {
    const { bavail, bsize } = statfsSync(folder);
    return (bavail * bsize) / 1e6;
  } catch {
    return null;
  }
}
