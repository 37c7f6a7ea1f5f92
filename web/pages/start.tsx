import type { JSX } from 'preact';
import type { Status } from '../../server/messages/http.ts';
import { ApiError } from '../state/api.ts';
import { serverWay } from '../state/meters.ts';
import { CaseList } from '../parts/caseLines.tsx';
import { Button, LinkButton } from '../parts/controls.tsx';
import { useAction, useConnection, useLoad } from '../parts/hooks.ts';
import { useServices } from '../parts/services.ts';
import { PageTitle, Problem } from '../parts/words.tsx';

/** Three ways in, and the cases. */
export function StartPage(): JSX.Element {
  const { api, sync } = useServices();
  const connection = useConnection();
  const status = useLoad<Status>('status', () => api.status(), connection.state);
  const here = useAction();
  const server = useAction();
  const virtual = useAction();
  const way = serverWay(status.value);
  return (
    <>
      <PageTitle
        title="What does the car do with its battery at night?"
        line="Connect a meter, leave it overnight, read in the morning what drew current and whether the battery still answers the door handle."
      />
      <ol class="ways" aria-label="Three ways in">
        <li>
          <h2>A meter near this screen</h2>
          <p class="quiet">
            {sync.bluetooth.available
              ? 'This browser has Bluetooth. It asks which meter.'
              : sync.bluetooth.sentence}
          </p>
          <Button
            tone="main"
            disabled={!sync.bluetooth.available}
            busy={here.busy}
            onPress={() => {
              // Straight from the click: a browser opens its chooser for nothing else.
              const asked = sync.connectMeter();
              here.run(async () => {
                const outcome = await asked;
                if (!outcome.ok) throw new ApiError('meter-unreachable', outcome.sentence);
                location.hash = '#/live';
              });
            }}
          >
            Connect a meter in this browser
          </Button>
          <Problem sentence={here.problem} />
        </li>
        <li>
          <h2>A meter near the server</h2>
          <p class="quiet">{status.problem ?? way.sentence}</p>
          <Button
            tone="main"
            disabled={!way.ready}
            busy={server.busy}
            onPress={() =>
              server.run(async () => {
                location.hash = '#/meters';
                await api.scan(15);
              })
            }
          >
            Use the server's adapter
          </Button>
          <Problem sentence={server.problem} />
        </li>
        <li>
          <h2>No meter at hand</h2>
          <p class="quiet">
            The virtual car is locked and falling asleep. Its meters send as real ones do; you can touch its
            handle.
          </p>
          <Button
            tone="main"
            busy={virtual.busy}
            onPress={() =>
              virtual.run(async () => {
                if (status.value?.virtualCar.running !== true) await api.virtualCar('start');
                location.hash = '#/live';
              })
            }
          >
            Watch the virtual car
          </Button>
          <Problem sentence={virtual.problem} />
        </li>
      </ol>
      <section aria-labelledby="cases-heading">
        <header class="section-head">
          <h2 id="cases-heading">Cases</h2>
          <LinkButton href="#/cases/new">New case</LinkButton>
        </header>
        <CaseList />
      </section>
    </>
  );
}
