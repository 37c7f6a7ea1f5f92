import { spawnSync } from 'node:child_process';
import { readFileSync, writeFileSync } from 'node:fs';
import path from 'node:path';
import { instantsOf, target, type Ground, type Row, type Topic } from './bench.ts';
import { csvMonth } from './peers.ts';
import { storedMonth } from './stored.ts';

const PROGRAM = path.resolve(import.meta.dirname, '../../../server/main.js');
const LIMIT_MIB = 300;
/** A command that takes longer is ended. */
const MOST_MS = 90_000;

/**
 * Tells the most memory that the process held. On Linux the system's own figure, because what resourceUsage says
 * begins with what the process that started this one held.
 */
const HOOK = `import { existsSync, readFileSync, writeFileSync } from 'node:fs';
const peak = () => {
  const status = '/proc/self/status';
  const own = existsSync(status) ? /VmHWM:\\s*(\\d+)/.exec(readFileSync(status, 'utf8')) : null;
  return own === null ? process.resourceUsage().maxRSS : Number(own[1]);
};
process.on('exit', () => writeFileSync(process.env.PEAK, String(peak())));`;

/** The most memory that each command holds, each in a process of its own, on the month and on a tenth of it. */
export const memory: Topic = {
  name: 'memory',
  run(ground) {
    const whole = instantsOf(ground.days);
    const tenth = Math.round(whole / 10);
    const one = commandsOn(ground, tenth);
    const ten = commandsOn(ground, whole);
    const rows = ten.map(({ name, args }, k): Row => {
      ground.say(`  ${name}`);
      const small = run(ground, one[k]!.args);
      const large = run(ground, args);
      return {
        name,
        kind: 'ours',
        cells: [small.mib, large.trouble === '' ? large.mib : null, large.seconds],
        note: large.trouble,
      };
    });
    const idle = run(ground, ['--version']);
    rows.push({ name: 'no work at all', kind: 'limit', cells: [idle.mib, idle.mib, idle.seconds], note: '' });
    return [
      {
        title: `Memory of the commands, ${whole.toLocaleString('en-GB')} instants`,
        columns: ['MiB on a tenth', 'MiB on all', 'wall s on all'],
        rows,
        targets: rows
          .filter((row) => row.kind === 'ours')
          .map((row) => target(row.name, row.cells[1] ?? Infinity, '<=', LIMIT_MIB, 'MiB')),
      },
    ];
  },
};

function commandsOn(ground: Ground, instants: number): { name: string; args: string[] }[] {
  const { folder, recording } = storedMonth(ground, instants);
  const csv = csvMonth(ground, instants);
  const into = (name: string) => path.join(ground.folder, `memory-${instants}-${name}`);
  return [
    { name: 'import FILE.csv', args: ['import', csv, '--data', into('data')] },
    { name: 'export -o FILE.csv', args: ['export', recording.id, '-o', into('out.csv'), '--data', folder] },
    {
      name: 'export -o FILE.parquet',
      args: ['export', recording.id, '-o', into('out.parquet'), '--data', folder],
    },
    { name: 'analyse RECORDING', args: ['analyse', recording.id, '--data', folder] },
    { name: 'seal RECORDING', args: ['seal', recording.id, '-o', into('out.zip'), '--data', folder] },
    { name: 'report RECORDING', args: ['report', recording.id, '-o', into('out.pdf'), '--data', folder] },
  ];
}

/** Runs a command to its end; `trouble` says what went wrong, if anything. */
function run(ground: Ground, args: readonly string[]): { mib: number; seconds: number; trouble: string } {
  const told = path.join(ground.folder, 'peak');
  const hook = path.join(ground.folder, 'peak.mjs');
  writeFileSync(hook, HOOK);
  writeFileSync(told, '0');
  const from = performance.now();
  const { status, signal, stderr } = spawnSync(process.execPath, ['--import', hook, PROGRAM, ...args], {
    env: { ...process.env, PEAK: told },
    timeout: MOST_MS,
    // A command that works and does not look up would go on.
    killSignal: 'SIGKILL',
    stdio: ['ignore', 'ignore', 'pipe'],
  });
  const seconds = (performance.now() - from) / 1000;
  const why =
    signal === null ? stderr.toString().trim().split('\n').at(-1)! : `ended after ${MOST_MS / 1000} s`;
  return { mib: Number(readFileSync(told, 'utf8')) / 1024, seconds, trouble: status === 0 ? '' : why };
}
