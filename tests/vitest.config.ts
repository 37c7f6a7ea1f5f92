import { defineConfig } from 'vitest/config';

export default defineConfig({
  test: {
    root: new URL('..', import.meta.url).pathname,
    include: ['tests/**/*.test.ts'],
    exclude: ['node_modules', '.build'],
    testTimeout: 20_000,
    hookTimeout: 60_000,
    maxWorkers: 2,
    reporters: ['default', new URL('./helpers/closing-line.ts', import.meta.url).pathname],
  },
});
