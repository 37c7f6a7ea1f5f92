import type { Topic } from './bench.ts';

/** In the order in which they run; each is loaded only when it does. */
export const TOPICS: readonly (() => Promise<Topic>)[] = [
  async () => (await import('./size.ts')).size,
  async () => (await import('./ingest.ts')).ingest,
  async () => (await import('./csv.ts')).csv,
  async () => (await import('./teaching.ts')).teaching,
];
