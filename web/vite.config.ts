// A plain object: importing vite's own types would bring Node's globals into the page's type check.

/** The server's own address, started with `serve`, while the page is worked on with `npx vite web -c web/vite.config.ts`. */
const api = 'http://127.0.0.1:4280';

// The server answers its own page only, so the proxy speaks as that page.
const proxied = { target: api, changeOrigin: true, headers: { origin: api } };

function here(file: string): string {
  return decodeURIComponent(new URL(file, import.meta.url).pathname);
}

export default {
  // Addresses in the page are relative, so that it does not matter where it is served from.
  base: './',
  cacheDir: '../node_modules/.vite',
  oxc: { jsx: { runtime: 'automatic', importSource: 'preact' } },
  build: {
    outDir: '../.build/web',
    emptyOutDir: true,
    target: 'es2023',
    // Nothing inline: the content security policy allows files of this server only.
    assetsInlineLimit: 0,
    modulePreload: { polyfill: false },
    // What the worker keeps, so that the page opens while the server is away.
    manifest: 'assets.json',
    rollupOptions: {
      input: { index: here('index.html'), sw: here('worker/sw.ts') },
      output: {
        // The worker's name stays: a browser looks under it for a newer one.
        entryFileNames: ({ name }: { readonly name: string }) =>
          name === 'sw' ? 'sw.js' : 'assets/[name]-[hash].js',
      },
    },
  },
  server: { host: '127.0.0.1', proxy: { '/api': proxied, '/socket.io': { ...proxied, ws: true } } },
};
