import type { ComponentType, JSX } from 'preact';
import { useEffect, useState } from 'preact/hooks';
import { Problem, Waiting } from './words.tsx';

/** A page that few need, loaded when it is opened. */
export function Late(p: { readonly load: () => Promise<ComponentType> }): JSX.Element {
  const [loaded, setLoaded] = useState<{ readonly page: ComponentType | null }>({ page: null });
  const [missing, setMissing] = useState(false);
  const load = (): void => {
    setMissing(false);
    p.load().then(
      (page) => setLoaded({ page }),
      () => setMissing(true),
    );
  };
  useEffect(load, []);
  if (missing)
    return <Problem sentence="This page could not be loaded; the server may be away." onRetry={load} />;
  const Page = loaded.page;
  return Page === null ? <Waiting>Loading.</Waiting> : <Page />;
}
