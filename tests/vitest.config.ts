import { defineConfig } from 'vitest/config';

export default defineConfig({
  test: {
    root: new URL('..', import.meta.url).pathname,
    include: ['tests/**/*.test.ts'],
    exclude: ['node_modules', '.build'],
    testTimeout: 60_000,
    hookTimeout: 120_000,
    maxWorkers: 2,
    // Radios and browsers in real time share a build server's two cores with the rest: one more chance there,
    // none on a contributor's machine.
    retry: process.env['CI'] ? 1 : 0,
    reporters: ['default', new URL('./helpers/closing-line.ts', import.meta.url).pathname],
  },
});
