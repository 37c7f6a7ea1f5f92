import type { Topic } from './bench.ts';

/** In the order in which they run; each is loaded only when it does. */
export const TOPICS: readonly (() => Promise<Topic>)[] = [
  async () => (await import('./size.ts')).size,
  async () => (await import('./ingest.ts')).ingest,
  async () => (await import('./zoom.ts')).zoom,
  async () => (await import('./csv.ts')).csv,
  async () => (await import('./analysis.ts')).analysis,
  async () => (await import('./memory.ts')).memory,
  async () => (await import('./latency.ts')).latency,
  async () => (await import('./start.ts')).start,
  async () => (await import('./teaching.ts')).teaching,
  async () => (await import('./coverage.ts')).coverageTopic,
];
