/** What pages and parts import of this room. `createSync` is called once, by main. */
export { createSync } from './createSync.ts';
export { TeachSearch } from './teachSearch.ts';
export type {
  AwaitedMeter,
  ConnectOutcome,
  OutboxState,
  ServerConnection,
  Sync,
  Unsubscribe,
} from './api.ts';
