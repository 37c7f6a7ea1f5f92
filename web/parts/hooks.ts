import { useCallback, useEffect, useRef, useState } from 'preact/hooks';
import type { Meter } from '../../server/messages/meters.ts';
import type { RecordingMessage } from '../../server/messages/socket.ts';
import { sentenceOf } from '../state/api.ts';
import { routeOf, type Route } from '../state/route.ts';
import type { OutboxState, ServerConnection } from '../sync/index.ts';
import { useServices } from './services.ts';

export interface Loaded<T> {
  readonly value: T | null;
  /** What to say when the last try failed; the value before it stays. */
  readonly problem: string | null;
  readonly loading: boolean;
  readonly reload: () => void;
}

/**
 * Loads when `key` or `version` changes and on `reload`. Another key is another thing, and the old one is
 * gone at once; another version is a newer state of the same thing, and the old one stays until it is there.
 * An answer that was overtaken by a later question is dropped.
 */
export function useLoad<T>(key: string | null, load: () => Promise<T>, version = ''): Loaded<T> {
  const [state, setState] = useState<{ key: string | null; value: T | null; problem: string | null }>({
    key: null,
    value: null,
    problem: null,
  });
  const [loading, setLoading] = useState(key !== null);
  const turn = useRef(0);
  const newest = useRef(load);
  newest.current = load;

  const run = useCallback(() => {
    if (key === null) return;
    const mine = ++turn.current;
    setLoading(true);
    void newest
      .current()
      .then(
        (value) => ({ key, value, problem: null }),
        (error: unknown) => ({ key, value: null, problem: sentenceOf(error) }),
      )
      .then((next) => {
        if (mine !== turn.current) return;
        setState((before) =>
          next.problem !== null && before.key === key ? { ...before, problem: next.problem } : next,
        );
        setLoading(false);
      });
  }, [key]);
  useEffect(() => {
    run();
    return () => {
      turn.current++;
    };
  }, [run, version]);

  const current = state.key === key;
  return {
    value: current ? state.value : null,
    problem: current ? state.problem : null,
    loading,
    reload: run,
  };
}

export interface Action {
  readonly busy: boolean;
  readonly problem: string | null;
  run(work: () => Promise<unknown>): void;
  clear(): void;
}

/** One thing at a time that a person asked for, with the sentence to show when it fails. */
export function useAction(): Action {
  const [busy, setBusy] = useState(false);
  const [problem, setProblem] = useState<string | null>(null);
  const alive = useRef(true);
  useEffect(
    () => () => {
      alive.current = false;
    },
    [],
  );
  return {
    busy,
    problem,
    clear: () => setProblem(null),
    run: (work) => {
      setBusy(true);
      setProblem(null);
      work()
        .catch((error: unknown) => {
          if (alive.current) setProblem(sentenceOf(error));
        })
        .finally(() => {
          if (alive.current) setBusy(false);
        });
    },
  };
}

export function useRoute(): Route {
  const [route, setRoute] = useState(() => routeOf(location.hash));
  useEffect(() => {
    const read = (): void => setRoute(routeOf(location.hash));
    addEventListener('hashchange', read);
    return () => removeEventListener('hashchange', read);
  }, []);
  return route;
}

export function useMeters(): readonly Meter[] {
  const { sync } = useServices();
  const [meters, setMeters] = useState<readonly Meter[]>([]);
  useEffect(() => sync.onMeters(setMeters), [sync]);
  return meters;
}

export function useConnection(): ServerConnection {
  const { sync } = useServices();
  const [connection, setConnection] = useState(sync.connection);
  useEffect(() => sync.onConnection(setConnection), [sync]);
  return connection;
}

export function useOutbox(): OutboxState {
  const { sync } = useServices();
  const [state, setState] = useState(sync.outboxState);
  useEffect(() => sync.onOutbox(setState), [sync]);
  return state;
}

/** Recordings that are running now, longest first. */
export function useRunning(): readonly RecordingMessage[] {
  const { sync } = useServices();
  const [known, setKnown] = useState<ReadonlyMap<string, RecordingMessage>>(new Map());
  useEffect(
    () =>
      sync.onRecording((message) => setKnown((before) => new Map(before).set(message.recording.id, message))),
    [sync],
  );
  return [...known.values()]
    .filter((m) => m.recording.state === 'recording')
    .sort((a, b) => (a.startNowMs ?? 0) - (b.startNowMs ?? 0));
}

/** Runs so often while the page is seen, and when it is seen again after a longer absence; null: never. */
export function useEvery(everyMs: number | null, run: () => void): void {
  const newest = useRef(run);
  newest.current = run;
  useEffect(() => {
    if (everyMs === null) return;
    let ranAt = Date.now();
    const due = (): void => {
      if (document.visibilityState === 'hidden' || Date.now() - ranAt < everyMs * 0.9) return;
      ranAt = Date.now();
      newest.current();
    };
    const timer = setInterval(due, everyMs);
    document.addEventListener('visibilitychange', due);
    return () => {
      clearInterval(timer);
      document.removeEventListener('visibilitychange', due);
    };
  }, [everyMs]);
}

/** Renders again `perSecond` times a second, for figures that age. */
export function useTicker(perSecond: number): void {
  const [, setTick] = useState(0);
  useEffect(() => {
    const timer = setInterval(() => setTick((n) => n + 1), 1000 / perSecond);
    return () => clearInterval(timer);
  }, [perSecond]);
}
