import type { Topic } from './bench.ts';

/** In the order in which they run; each is loaded only when it does. */
export const TOPICS: readonly (() => Promise<Topic>)[] = [
  async () => (await import('./teaching.ts')).teaching,
];
