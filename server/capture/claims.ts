import { readFileSync, rmSync, writeFileSync } from 'node:fs';
import path from 'node:path';

/**
 * Says which process a running recording belongs to, so that a server that starts takes up those that a
 * crash left behind and not those that another process is recording right now.
 */
export interface Claims {
  take(recordingId: string): void;
  drop(recordingId: string): void;
  isElsewhere(recordingId: string): boolean;
}

/** Claims as small files beside the database: the process's number and, where the system tells, its start. */
export function fileClaims(folder: string): Claims {
  const fileOf = (recordingId: string) => path.join(folder, `${recordingId}.lock`);
  return {
    take(recordingId) {
      quietly(() => writeFileSync(fileOf(recordingId), claimOf(process.pid)));
    },
    drop(recordingId) {
      quietly(() => rmSync(fileOf(recordingId), { force: true }));
    },
    isElsewhere(recordingId) {
      const claim = quietly(() => readFileSync(fileOf(recordingId), 'utf8')) ?? '';
      const pid = Number(claim.split(' ')[0]);
      return pid > 0 && pid !== process.pid && isAlive(pid) && claim === claimOf(pid);
    },
  };
}

/** A process number is used again after a while; with its start time it is not. */
function claimOf(pid: number): string {
  // proc(5): the start time is field 22, and the name in field 2 may itself hold spaces and brackets.
  const stat = quietly(() => readFileSync(`/proc/${pid}/stat`, 'utf8'));
  const start = stat?.slice(stat.lastIndexOf(')') + 2).split(' ')[19];
  return start === undefined ? `${pid}` : `${pid} ${start}`;
}

function isAlive(pid: number): boolean {
  try {
    process.kill(pid, 0);
    return true;
  } catch (error) {
    return (error as { code?: string }).code === 'EPERM';
  }
}

/** A claim that cannot be written or read must not stop a recording. */
function quietly<T>(run: () => T): T | undefined {
  try {
    return run();
  } catch {
    return undefined;
  }
}
