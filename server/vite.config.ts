/**
 * The program as few files, packages included, so that it starts quickly: Node takes longer to find and to link 500
 * modules than to run them. What one command needs alone is a file of its own, read when the command is asked for.
 */

function here(file: string): string {
  return decodeURIComponent(new URL(file, import.meta.url).pathname);
}

/** Packages with a compiled part find it beside themselves. */
const NATIVE = ['better-sqlite3', '@abandonware/noble'];

export default {
  cacheDir: '../node_modules/.vite',
  ssr: { noExternal: true, external: NATIVE },
  build: {
    ssr: true,
    outDir: '../.build/server',
    emptyOutDir: true,
    target: 'node20',
    // Stack traces name functions and readable lines; NODE_OPTIONS=--enable-source-maps leads to the sources.
    minify: false,
    sourcemap: true,
    rollupOptions: {
      external: NATIVE,
      input: {
        main: here('main.ts'),
        // The radio has a process of its own. All files lie side by side: `link.ts`, wherever it ends up, finds it there.
        child: here('../drivers/links/node/child.ts'),
      },
      output: { entryFileNames: '[name].js', chunkFileNames: '[name]-[hash].js' },
    },
  },
};
