import type { JSX } from 'preact';
import { useEffect, useRef, useState } from 'preact/hooks';
import {
  PREFLIGHT_CHECKS,
  PREFLIGHT_ITEMS,
  type CheckFound,
  type PreflightId,
} from '../../server/messages/checklist.ts';
import type { Status } from '../../server/messages/http.ts';
import type { Meter } from '../../server/messages/meters.ts';
import type { Case } from '../../server/messages/records.ts';
import { heldZeroCheckListSchema, type HeldZeroCheck } from '../../server/messages/zeroCheck.ts';
import { clockText } from '../state/clocktime.ts';
import { channelId } from '../state/live.ts';
import {
  checklistOf,
  lookAround,
  ticksFrom,
  ticksKey,
  toggled,
  type SeenChannel,
  type Ticks,
} from '../state/preflight.ts';
import { hashOf } from '../state/route.ts';
import { LinkButton } from '../parts/controls.tsx';
import { LevelSign } from '../parts/findingParts.tsx';
import { useEvery, useLoad, useMeters, useRunning, useTicker } from '../parts/hooks.ts';
import { keptText } from '../parts/keptText.ts';
import { StartRecording } from '../parts/recorder.tsx';
import { useServices } from '../parts/services.ts';
import { usePower, useScreenLock } from '../parts/surroundings.ts';
import { Cautions, PageTitle } from '../parts/words.tsx';

const LEVELS = { fine: 'fine', poor: 'watch', 'not-known': 'unknown' } as const;
/** The analysis takes this where neither case nor maker gives one. */
const USUAL_LIMIT_A = 0.05;
const LOOK_AGAIN_MS = 10_000;

/** What is seen to before the car is left for the night; it leads into the start of the test. */
export function PreflightPage(p: { readonly caseId: string | null }): JSX.Element {
  const { api } = useServices();
  const item = useLoad<Case>(p.caseId, () => api.getCase(p.caseId!));
  const running = useRunning();
  const found = useFound(item.value?.drawLimitA ?? USUAL_LIMIT_A);
  const [ticks, tick, clear] = useTicks(p.caseId);
  const startedHere = useRef(false);
  const runs = running.length > 0;
  useEffect(() => {
    if (!runs || !startedHere.current) return;
    startedHere.current = false;
    clear();
  }, [runs]);

  const done = Object.keys(ticks).length;
  return (
    <>
      <PageTitle
        title="Before the night"
        line={item.value === null ? 'See to each, then start the test and leave.' : item.value.title}
      >
        {p.caseId !== null && (
          <LinkButton href={hashOf({ page: 'case', id: p.caseId })}>To the case</LinkButton>
        )}
      </PageTitle>
      <section class="seen" aria-labelledby="seen-heading">
        <h2 id="seen-heading">What this page sees itself</h2>
        <Found found={found} />
      </section>
      <section class="preflight" aria-labelledby="list-heading">
        <header class="section-head">
          <h2 id="list-heading">What you see to</h2>
          <p class="quiet" role="status">
            {done} of {PREFLIGHT_ITEMS.length}
          </p>
        </header>
        <List ticks={ticks} onTick={tick} />
      </section>
      {runs ? (
        <section class="recorder" aria-label="The test runs">
          <p role="status">
            <strong>It records.</strong> Leave the car alone now.
          </p>
          <div class="row">
            <LinkButton href="#/live" tone="main">
              Watch the test
            </LinkButton>
          </div>
        </section>
      ) : (
        <>
          {done < PREFLIGHT_ITEMS.length && (
            <p class="quiet">
              {PREFLIGHT_ITEMS.length - done} left open; the recording says so. What does not apply to this
              car may stay open.
            </p>
          )}
          <StartRecording
            caseId={p.caseId}
            kind="overnight-test"
            checklist={() => {
              startedHere.current = true;
              return checklistOf(ticks, found);
            }}
          />
        </>
      )}
      <Cautions place="preflight" />
    </>
  );
}

function Found(p: { readonly found: readonly CheckFound[] }): JSX.Element {
  return (
    <ul class="found-list">
      {p.found.map((f) => (
        <li key={f.id}>
          <LevelSign level={LEVELS[f.verdict]} />
          <div>
            <strong>{PREFLIGHT_CHECKS.find((c) => c.id === f.id)!.what}</strong>
            <p class="quiet">{f.text}</p>
          </div>
        </li>
      ))}
    </ul>
  );
}

function List(p: { readonly ticks: Ticks; readonly onTick: (id: PreflightId) => void }): JSX.Element {
  const zone = Intl.DateTimeFormat().resolvedOptions().timeZone ?? null;
  return (
    <ul class="check-list">
      {PREFLIGHT_ITEMS.map(({ id, what, why }) => {
        const at = p.ticks[id];
        return (
          <li key={id}>
            <label class="check-row">
              <input type="checkbox" checked={at !== undefined} onChange={() => p.onTick(id)} />
              <span>
                <strong>{what}</strong>
                <span class="quiet check-why">{why}</span>
              </span>
              <span class="check-at">
                {at === undefined ? '' : clockText({ startedAt: at, zone }, 0, 'minutes')}
              </span>
            </label>
          </li>
        );
      })}
    </ul>
  );
}

/** Ticks outlive a reload, and end with the start of the test. */
function useTicks(caseId: string | null): [Ticks, (id: PreflightId) => void, () => void] {
  const key = ticksKey(caseId);
  const [ticks, setTicks] = useState(() => ticksFrom(keptText.get(key), Date.now()));
  const tick = (id: PreflightId): void =>
    setTicks((before) => {
      const next = toggled(before, id, new Date().toISOString());
      keptText.set(key, JSON.stringify(next));
      return next;
    });
  const clear = (): void => {
    keptText.set(key, null);
    setTicks({});
  };
  return [ticks, tick, clear];
}

/** What the page sees, looked at again each second. */
function useFound(limitA: number): CheckFound[] {
  const { api, board, sync } = useServices();
  const meters = useMeters();
  const status = useLoad<Status>('status', () => api.status());
  const zeroChecks = useLoad<HeldZeroCheck[]>('zero checks', () =>
    api.ask('GET', 'meters/zero-checks', heldZeroCheckListSchema),
  );
  const power = usePower();
  const screen = useScreenLock();
  useEvery(LOOK_AGAIN_MS, () => {
    status.reload();
    zeroChecks.reload();
  });
  useTicker(1);
  return lookAround({
    nowIso: new Date().toISOString(),
    serverNowMs: sync.serverNowMs(),
    channels: meters.flatMap((m) => seenOf(m)),
    limitA,
    zeroChecks: zeroChecks.value ?? [],
    freeBytes: status.value?.disk?.freeBytes ?? null,
    power,
    screen,
    pageRecords: meters.some((m) => sync.isOwn(m.key)),
  });

  function seenOf(meter: Meter): SeenChannel[] {
    const known = board.channels();
    return meter.channels.flatMap((channel) => {
      const id = channelId(meter.key, channel.key);
      const seen = known.find((c) => c.id === id);
      if (seen === undefined) return [];
      const { atMs, live } = seen;
      return [
        {
          meterKey: meter.key,
          meterName: meter.name,
          quantity: channel.quantity,
          step: channel.step ?? null,
          atMs,
          live,
          trace: board.trace(id),
        },
      ];
    });
  }
}
