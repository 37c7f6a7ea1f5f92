import type { Hub } from '../capture/hub.ts';
import type { Store } from '../store/store.ts';

/** What the routes call; put together by the command that serves. */
export interface Services {
  readonly store: Store;
  readonly hub: Hub;
  readonly version: string;
  /** Where the signing key and the logs of seals are. */
  readonly dataFolder: string;
  /** The built page. */
  readonly pageFolder: string;
  readonly log: (line: string) => void;
}
