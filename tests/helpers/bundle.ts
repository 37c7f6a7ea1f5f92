import { mkdirSync, mkdtempSync, rmSync } from 'node:fs';
import path from 'node:path';
import { build } from 'vite';

const ROOT = path.resolve(import.meta.dirname, '../..');

/** One TypeScript program as a file that Node can run as a process of its own; `remove` when done. */
export async function bundleForNode(entry: string): Promise<{ file: string; remove: () => void }> {
  // Inside the checkout, so that the program finds node_modules.
  const parent = path.join(ROOT, '.build', 'tests');
  mkdirSync(parent, { recursive: true });
  const folder = mkdtempSync(path.join(parent, 'bundle-'));
  await build({
    root: ROOT,
    configFile: false,
    logLevel: 'error',
    build: {
      ssr: path.join(ROOT, entry),
      outDir: folder,
      minify: false,
      rollupOptions: { output: { entryFileNames: 'program.mjs' } },
    },
  });
  return { file: path.join(folder, 'program.mjs'), remove: () => rmSync(folder, { recursive: true }) };
}
