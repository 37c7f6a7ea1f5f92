import type { FindingsDesk } from './findings.ts';
import type { Hub } from '../capture/hub.ts';
import type { Watch } from '../capture/watch.ts';
import type { Store } from '../store/store.ts';

/** What the routes call; put together by the command that serves. */
export interface Services {
  readonly store: Store;
  readonly hub: Hub;
  readonly desk: FindingsDesk;
  readonly watch: Watch;
  readonly version: string;
  /** Where the signing key and the logs of seals are. */
  readonly dataFolder: string;
  /** The built page. */
  readonly pageFolder: string;
  readonly log: (line: string) => void;
}
