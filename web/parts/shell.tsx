import type { ComponentChildren, JSX } from 'preact';
import { useEffect, useRef, useState } from 'preact/hooks';
import type { Notice } from '../../server/messages/socket.ts';
import { connectedCount } from '../state/meters.ts';
import { hashOf, PLACES, placeOf, type Route } from '../state/route.ts';
import type { AwaitedMeter } from '../sync/index.ts';
import { Button } from './controls.tsx';
import { useConnection, useMeters, useOutbox, useRunning } from './hooks.ts';
import { Looks } from './looks.tsx';
import { useServices } from './services.ts';
import { useKeys } from './shortcuts.ts';
import { UndoBar } from './undo.tsx';

/** What surrounds every page: name, places, what goes wrong, what runs. */
export function Shell(p: { readonly route: Route; readonly children: ComponentChildren }): JSX.Element {
  useGoKeys();
  const main = useRef<HTMLElement>(null);
  return (
    <>
      <a
        class="skip"
        href="#main"
        onClick={(e) => {
          // The address behind '#' is the page's own, so the jump is made by hand.
          e.preventDefault();
          main.current?.focus();
        }}
      >
        Skip to the page
      </a>
      <header class="top">
        <a class="name" href="#/" aria-label="Nightdraw, start">
          <Logo />
          <span>Nightdraw</span>
        </a>
        <Places route={p.route} />
        <div class="top-end">
          <a class="help-link" href="#/help">
            Keys and help
          </a>
          <Looks />
        </div>
      </header>
      <Messages route={p.route} />
      <UndoBar />
      <main id="main" tabIndex={-1} ref={main} class={`page-${p.route.page}`}>
        {p.children}
      </main>
      <footer>
        <p class="quiet small">
          Nightdraw measures; it does not repair. The maker's procedure comes first. <a href="#/help">Help</a>
        </p>
      </footer>
    </>
  );
}

function Logo(): JSX.Element {
  return (
    <svg class="logo" viewBox="0 0 32 32" aria-hidden="true">
      <path d="M3 7h7v9h5v8h3v-8h2v8h4v-8h2v8h4" />
    </svg>
  );
}

/** The places as a tuning scale: ticks, and a needle at where one is. */
function Places(p: { readonly route: Route }): JSX.Element {
  const here = placeOf(p.route);
  const meters = useMeters();
  const on = connectedCount(meters);
  return (
    <nav aria-label="Places">
      <ul>
        {PLACES.map((place) => (
          <li key={place.page}>
            <a
              href={hashOf(place.page === 'live' ? { page: 'live', caseId: null } : { page: place.page })}
              aria-current={here === place.page ? 'page' : undefined}
            >
              {place.label}
              {place.page === 'meters' && on > 0 && (
                <>
                  {' '}
                  <span class="count">{on}</span>
                  <span class="hidden"> connected</span>
                </>
              )}
            </a>
          </li>
        ))}
      </ul>
    </nav>
  );
}

function useGoKeys(): void {
  const armed = useRef(0);
  const go = (hash: string) => (): void => {
    if (performance.now() - armed.current < 1500) location.hash = hash;
    armed.current = 0;
  };
  const keys: Record<string, () => void> = {
    g: () => {
      armed.current = performance.now();
    },
    '?': () => {
      location.hash = '#/help';
    },
  };
  for (const place of PLACES)
    keys[place.letter] = go(place.page === 'live' ? '#/live' : hashOf({ page: place.page }));
  useKeys(keys);
}

const NOTICE_MS = 12_000;

/** One line each for what a person should know at once, wherever they are in the page. */
function Messages(p: { readonly route: Route }): JSX.Element {
  const { sync } = useServices();
  const connection = useConnection();
  const outbox = useOutbox();
  const running = useRunning();
  const awaited = useAwaited();
  const [notices, setNotices] = useState<readonly (Notice & { id: number })[]>([]);
  useEffect(() => {
    let n = 0;
    return sync.onNotice((notice) => {
      const id = ++n;
      setNotices((list) => [...list.slice(-3), { ...notice, id }]);
      // Errors stay until they are put away.
      if (notice.level !== 'error')
        setTimeout(() => setNotices((list) => list.filter((x) => x.id !== id)), NOTICE_MS);
    });
  }, [sync]);

  const waiting = connection.state === 'lost' || outbox.oldestMs > 5000;
  return (
    <div class="messages" role="status" aria-live="polite">
      {connection.state === 'lost' && <p class="message error">{connection.sentence}</p>}
      {waiting && outbox.waitingSamples > 0 && (
        <p class="message watch">
          {outbox.sentence || `${outbox.waitingSamples} readings wait in this page for the server.`}
          {!outbox.survivesReload && ' Do not close this page.'}
        </p>
      )}
      {awaited.map((m) => (
        <div class="message watch" key={m.key}>
          <p>
            A running recording waits for {m.name}. After a reload a browser wants you to choose it again.
          </p>
          <Button tone="main" onPress={() => void sync.connectMeter()}>
            Choose {m.name}
          </Button>
        </div>
      ))}
      {running.length > 0 && p.route.page !== 'live' && (
        <p class="message recording">
          <span class="recording-dot" aria-hidden="true" />
          Recording: {running.map((m) => m.recording.title).join('; ')}. <a href="#/live">Watch it</a>
        </p>
      )}
      {notices.map((n) => (
        <div class={`message ${n.level}`} key={n.id}>
          <p>{n.text}</p>
          <Button onPress={() => setNotices((list) => list.filter((x) => x.id !== n.id))}>Put away</Button>
        </div>
      ))}
    </div>
  );
}

function useAwaited(): readonly AwaitedMeter[] {
  const { sync } = useServices();
  const [awaited, setAwaited] = useState<readonly AwaitedMeter[]>([]);
  useEffect(() => sync.onAwaited(setAwaited), [sync]);
  return awaited;
}
