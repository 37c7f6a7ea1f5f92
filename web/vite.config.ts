import { defineConfig } from 'vite';

/** Where `npm run dev`-style work finds the API: a server started with `serve --port 4280`, or another. */
const api = process.env['NIGHTDRAW_API'] ?? 'http://127.0.0.1:4280';

// The server answers its own page only, so the proxy speaks as that page.
const proxied = { target: api, changeOrigin: true, headers: { origin: api } };

export default defineConfig({
  root: import.meta.dirname,
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
  },
  server: { host: '127.0.0.1', proxy: { '/api': proxied, '/socket.io': { ...proxied, ws: true } } },
});
