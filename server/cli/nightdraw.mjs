#!/usr/bin/env node
// What `npx nightdraw` runs in a checkout: the built program, or a sentence where it is not built yet.
import { existsSync } from 'node:fs';

const program = new URL('../../.build/server/main.js', import.meta.url);
if (existsSync(program)) {
  await import(program);
} else {
  process.stderr.write('Nightdraw is not built yet; run "npm ci && npm run build" in the checkout first.\n');
  process.exitCode = 2;
}
