import type { JSX } from 'preact';
import type { Status } from '../../server/messages/http.ts';
import { ApiError } from '../state/api.ts';
import { metersOf, serverWay } from '../state/meters.ts';
import { hashOf } from '../state/route.ts';
import { Button, LinkButton } from '../parts/controls.tsx';
import { useAction, useConnection, useLoad, useMeters } from '../parts/hooks.ts';
import { MeterLine } from '../parts/meterLine.tsx';
import { useServices } from '../parts/services.ts';
import { TaughtMeters } from '../parts/taughtMeters.tsx';
import { Cautions, PageTitle, Problem } from '../parts/words.tsx';

const SCAN_S = 15;

/** Every meter, by where its radio is. */
export function MetersPage(): JSX.Element {
  const { api } = useServices();
  const connection = useConnection();
  const status = useLoad<Status>('status', () => api.status(), connection.state);
  return (
    <>
      <PageTitle title="Meters" line="A voltmeter at the battery posts, a clamp around the battery lead.">
        <LinkButton href={hashOf({ page: 'teach' })}>Teach a meter</LinkButton>
      </PageTitle>
      <HereMeters />
      <ServerMeters status={status.value} problem={status.problem} />
      <VirtualMeters running={status.value?.virtualCar.running ?? false} onChange={status.reload} />
      <TaughtMeters />
      <Cautions place="meters" />
    </>
  );
}

function HereMeters(): JSX.Element {
  const { sync } = useServices();
  const meters = metersOf(useMeters(), 'page');
  const action = useAction();
  const mine = meters.filter((m) => sync.isOwn(m.key));
  const others = meters.filter((m) => !sync.isOwn(m.key));
  return (
    <section class="source" aria-labelledby="here-heading">
      <header class="section-head">
        <h2 id="here-heading">In this browser</h2>
        <Button
          tone="main"
          disabled={!sync.bluetooth.available}
          busy={action.busy}
          onPress={() => {
            const asked = sync.connectMeter();
            action.run(async () => {
              const outcome = await asked;
              if (!outcome.ok) throw new ApiError('meter-unreachable', outcome.sentence);
            });
          }}
        >
          Connect a meter in this browser
        </Button>
      </header>
      {!sync.bluetooth.available && <p class="quiet">{sync.bluetooth.sentence}</p>}
      {sync.bluetooth.available && mine.length === 0 && (
        <p class="quiet">
          None yet. The browser asks which meter; after a reload it asks again. Keep this page open and in
          view while it records.
        </p>
      )}
      <Problem sentence={action.problem} />
      <ul class="lines">
        {mine.map((m) => (
          <MeterLine key={m.key} meter={m} onOff={() => sync.disconnectMeter(m.key)} />
        ))}
        {others.map((m) => (
          <MeterLine key={m.key} meter={m} note="on another screen" />
        ))}
      </ul>
    </section>
  );
}

function ServerMeters(p: { readonly status: Status | null; readonly problem: string | null }): JSX.Element {
  const { api } = useServices();
  const meters = metersOf(useMeters(), 'server');
  const scan = useAction();
  const way = serverWay(p.status);
  return (
    <section class="source" aria-labelledby="server-heading">
      <header class="section-head">
        <h2 id="server-heading">At the server</h2>
        <Button
          tone="main"
          disabled={!way.ready}
          busy={scan.busy}
          onPress={() => scan.run(() => api.scan(SCAN_S))}
        >
          {scan.busy ? `Looking for ${SCAN_S} s` : 'Look for meters'}
        </Button>
      </header>
      <p class="quiet">{p.problem ?? way.sentence}</p>
      <Problem sentence={scan.problem} />
      <ul class="lines">
        {meters.map((m) => (
          <MeterLine
            key={m.key}
            meter={m}
            onOn={() => api.connectMeter(m.key)}
            onOff={() => api.disconnectMeter(m.key)}
          />
        ))}
      </ul>
    </section>
  );
}

function VirtualMeters(p: { readonly running: boolean; readonly onChange: () => void }): JSX.Element {
  const { api } = useServices();
  const meters = metersOf(useMeters(), 'virtual');
  const action = useAction();
  const running = p.running;
  const act = (what: 'start' | 'stop' | 'touch-handle' | 'wake') => (): void =>
    action.run(async () => {
      await api.virtualCar(what);
      p.onChange();
    });
  return (
    <section class="source" aria-labelledby="virtual-heading">
      <header class="section-head">
        <h2 id="virtual-heading">The virtual car</h2>
        {!running && (
          <Button tone="main" busy={action.busy} onPress={act('start')}>
            Start the virtual car
          </Button>
        )}
        {running && (
          <>
            <Button onPress={act('touch-handle')} busy={action.busy}>
              Touch the handle
            </Button>
            <Button onPress={act('wake')} busy={action.busy}>
              Wake a module
            </Button>
            <Button onPress={act('stop')} busy={action.busy}>
              Stop the virtual car
            </Button>
          </>
        )}
      </header>
      <p class="quiet">
        {running
          ? 'Locked, falling asleep, and searching for its fob. Nothing here is a real car.'
          : 'Made-up readings through the same drivers as real ones, to try everything without a car.'}
      </p>
      <Problem sentence={action.problem} />
      <ul class="lines">
        {meters.map((m) => (
          <MeterLine
            key={m.key}
            meter={m}
            onOn={() => api.connectMeter(m.key)}
            onOff={() => api.disconnectMeter(m.key)}
          />
        ))}
      </ul>
    </section>
  );
}
