import { spawn, spawnSync } from 'node:child_process';
import path from 'node:path';
import { openStore } from '../../server/store/openStore.ts';
import { quantile, target, type Ground, type Topic } from './bench.ts';
import { month } from './month.ts';
import { newRecording, step } from './stored.ts';

const PROGRAM = path.resolve(import.meta.dirname, '../../../server/main.js');
const RECORDINGS = 1000;
const STARTS = 11;

/** How long the server takes until it says its address, with many recordings there. */
export const start: Topic = {
  name: 'start',
  async run(ground) {
    const full = folderWith(ground, RECORDINGS);
    const empty = folderWith(ground, 0);
    const ms = { full: [] as number[], empty: [] as number[], node: [] as number[] };
    for (let i = 0; i < STARTS; i++) {
      ms.full.push(await started(full));
      ms.empty.push(await started(empty));
      ms.node.push(nodeAlone());
    }
    const median = quantile(ms.full, 0.5);
    return [
      {
        title: 'Start of the server, from the command to its address',
        columns: ['median ms', 'fastest ms'],
        rows: [
          { name: `${RECORDINGS} recordings`, kind: 'ours', cells: [median, Math.min(...ms.full)] },
          { name: 'none', kind: 'ours', cells: [quantile(ms.empty, 0.5), Math.min(...ms.empty)] },
          {
            name: 'Node with nothing to do, to its end',
            kind: 'limit',
            cells: [quantile(ms.node, 0.5), Math.min(...ms.node)],
          },
        ],
        targets: [target(`start with ${RECORDINGS} recordings`, median, '<=', 300, 'ms')],
      },
    ];
  },
};

function folderWith(ground: Ground, recordings: number): string {
  const folder = path.join(ground.folder, `start-${recordings}`);
  const store = openStore(path.join(folder, 'nightdraw.db'));
  const short = month(600, 5);
  store.atomically(() => {
    for (let i = 0; i < recordings; i++) {
      const recording = newRecording(store);
      store.commit(step(recording, short, 0, 600));
      store.stopRecording(recording.id, short.t.at(-1)!);
    }
  });
  store.close();
  return folder;
}

function nodeAlone(): number {
  const from = performance.now();
  spawnSync(process.execPath, ['-e', '']);
  return performance.now() - from;
}

function started(data: string): Promise<number> {
  return new Promise((resolve, reject) => {
    const from = performance.now();
    const server = spawn(process.execPath, [PROGRAM, 'serve', '--port', '0', '--data', data], {
      stdio: ['ignore', 'pipe', 'pipe'],
    });
    let [said, took] = ['', NaN];
    const listen = (text: Buffer) => {
      said += text.toString();
      if (!Number.isNaN(took) || !/https?:\/\//.test(said)) return;
      took = performance.now() - from;
      server.kill('SIGTERM');
    };
    server.stdout.on('data', listen);
    server.stderr.on('data', listen);
    server.on('error', reject);
    server.on('exit', () => {
      if (Number.isNaN(took)) reject(new Error(`The server did not start: ${said}`));
      else resolve(took);
    });
  });
}
