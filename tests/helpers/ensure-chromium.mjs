// The browser tests need a Chromium. On Debian and its relatives this brings it; elsewhere it says what is missing.
import { spawnSync } from 'node:child_process';
import { existsSync } from 'node:fs';

const candidates = [process.env.NIGHTDRAW_CHROMIUM, '/usr/bin/chromium', '/usr/bin/chromium-browser'];
const found = candidates.find((path) => path && existsSync(path));
if (found) process.exit(0);

const apt = existsSync('/usr/bin/apt-get');
const root = process.getuid?.() === 0;
if (!apt || !root) {
  console.error(
    apt
      ? 'The tests need Chromium. Install it (sudo apt-get install chromium) and run npm test again.'
      : 'The tests need Chromium. Install it and set NIGHTDRAW_CHROMIUM to its path, then run npm test again.',
  );
  process.exit(1);
}
console.error('Installing Chromium for the browser tests ...');
const env = { ...process.env, DEBIAN_FRONTEND: 'noninteractive' };
for (const args of [
  ['update', '-qq'],
  ['install', '-y', '-qq', '--no-install-recommends', 'chromium'],
]) {
  const run = spawnSync('apt-get', args, { env, stdio: ['ignore', 'ignore', 'inherit'] });
  if (run.status !== 0) {
    console.error(
      'Chromium could not be installed; install the package "chromium" by hand and run npm test again.',
    );
    process.exit(1);
  }
}
