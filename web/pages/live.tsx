import type { JSX } from 'preact';
import { useState } from 'preact/hooks';
import type { Case, Recording } from '../../server/messages/records.ts';
import { chosenChannel } from '../state/live.ts';
import { Attempts } from '../parts/attempts.tsx';
import { LinkButton } from '../parts/controls.tsx';
import { useLoad, useMeters, useRunning, useTicker } from '../parts/hooks.ts';
import { LiveChart } from '../parts/liveChart.tsx';
import { LiveFigure } from '../parts/liveFigure.tsx';
import { RunningRecordings, StartRecording } from '../parts/recorder.tsx';
import { useServices } from '../parts/services.ts';
import { CautionLine, Cautions, PageTitle } from '../parts/words.tsx';

/** What is happening now, read from the door while trying the handle. */
export function LivePage(p: { readonly caseId: string | null }): JSX.Element {
  const { api, board } = useServices();
  const meters = useMeters();
  const running = useRunning();
  const [voltage, setVoltage] = useState<string | null>(null);
  const [current, setCurrent] = useState<string | null>(null);
  const stopped = useState<Recording | null>(null);
  useTicker(1);

  const caseId = running[0]?.recording.caseId ?? p.caseId;
  const item = useLoad<Case>(caseId, () => api.getCase(caseId!));
  const channels = board.channels();
  const volt = chosenChannel(channels, 'voltage', voltage);
  const amp = chosenChannel(channels, 'current', current);
  const nothing = volt === null && amp === null;
  // Whoever walks past a night wants its sentence first, whoever tries a handle the voltage.
  const overnight = running.some((m) => m.recording.kind === 'overnight-test');
  const zone = item.value?.measuredThreshold?.thresholdV ?? item.value?.thresholdV ?? null;
  return (
    <>
      <PageTitle title="Live watch" line={item.value?.title} />
      {!nothing && <CautionLine />}
      {overnight && <RunningRecordings stopped={stopped} />}
      {nothing && <Nothing connected={meters.some((m) => m.state === 'connected')} />}
      {!nothing && (
        <div class="live-figures">
          <LiveFigure quantity="voltage" wanted={voltage} onWanted={setVoltage} zoneBelow={zone} />
          <LiveFigure quantity="current" wanted={current} onWanted={setCurrent} zoneBelow={null} />
        </div>
      )}
      {!nothing && (
        <Attempts voltageId={volt?.id ?? null} caseId={caseId} still={overnight}>
          <section class="running-charts" aria-label="The last 60 seconds">
            {volt !== null && <LiveChart quantity="voltage" channel={volt.id} />}
            {amp !== null && <LiveChart quantity="current" channel={amp.id} />}
          </section>
        </Attempts>
      )}
      {!overnight && <RunningRecordings stopped={stopped} />}
      <StartRecording caseId={p.caseId} />
      <Cautions place="live" />
    </>
  );
}

function Nothing(p: { readonly connected: boolean }): JSX.Element {
  return (
    <section class="nothing">
      <p>{p.connected ? 'Connected; waiting for the first reading.' : 'No meter is sending.'}</p>
      {!p.connected && (
        <div class="row">
          <LinkButton href="#/meters" tone="main">
            Connect a meter
          </LinkButton>
          <LinkButton href="#/">Other ways in</LinkButton>
        </div>
      )}
    </section>
  );
}
