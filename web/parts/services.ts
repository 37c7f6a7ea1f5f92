import { createContext } from 'preact';
import { useContext } from 'preact/hooks';
import type { Api } from '../state/api.ts';
import type { LiveBoard } from '../state/live.ts';
import type { Sync } from '../sync/index.ts';

/** What main builds once and every page uses. */
export interface Services {
  readonly api: Api;
  readonly sync: Sync;
  readonly board: LiveBoard;
}

const Context = createContext<Services | null>(null);
export const ServicesProvider = Context.Provider;

export function useServices(): Services {
  const services = useContext(Context);
  if (services === null) throw new Error('no services around this part');
  return services;
}
