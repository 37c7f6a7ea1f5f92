import type { JSX } from 'preact';
import { useEffect, useRef, useState } from 'preact/hooks';
import { meterSchema } from '../../server/messages/meters.ts';
import { taughtMeterSchema } from '../../server/messages/taughtMeters.ts';
import { ApiError, sentenceOf } from '../state/api.ts';
import { metersOf } from '../state/meters.ts';
import { hashOf } from '../state/route.ts';
import {
  addGlance,
  begin,
  FEWEST_TO_SEARCH,
  heard,
  hold,
  letGo,
  NO_TEACHING,
  octetsIn,
  removeGlance,
  type MeterDescription,
  type Teaching,
  type TeachResult,
} from '../state/teaching.ts';
import { TeachSearch } from '../sync/index.ts';
import { Button } from '../parts/controls.tsx';
import { useAction, useMeters } from '../parts/hooks.ts';
import { useServices } from '../parts/services.ts';
import { Found, Glances } from '../parts/teachFound.tsx';
import { ArrivingFrames, HeldFrame } from '../parts/teachFrames.tsx';
import { Cautions, PageTitle, Problem } from '../parts/words.tsx';

/** Teaching a meter that nothing reads, by what its display says. */
export function TeachPage(): JSX.Element {
  const { api, sync } = useServices();
  const [state, setState] = useState<Teaching>(NO_TEACHING);
  const [saved, setSaved] = useState<{ readonly title: string; readonly trouble: string } | null>(null);
  const { result, searching } = useSearch(state);
  useEffect(() => sync.onFrames((message) => setState((before) => heard(before, message))), [sync]);

  const save = async (description: MeterDescription): Promise<void> => {
    const key = state.meterKey!;
    const { description: kept } = await api.ask('POST', 'taught-meters', taughtMeterSchema, description);
    await sync.reloadTaught();
    // It is saved now; whether its meter can be reached at this moment is another matter.
    setSaved({ title: kept.title, trouble: await readAgain(key) });
    setState(NO_TEACHING);
  };

  const readAgain = async (key: string): Promise<string> => {
    try {
      if (sync.isOwn(key)) {
        const outcome = await sync.readOn(key);
        return outcome.ok ? '' : outcome.sentence;
      }
      await api.disconnectMeter(key);
      await api.connectMeter(key);
      return '';
    } catch (error) {
      return sentenceOf(error);
    }
  };
  const leave = async (): Promise<void> => {
    const key = state.meterKey!;
    setState(NO_TEACHING);
    await (sync.isOwn(key) ? sync.disconnectMeter(key) : api.disconnectMeter(key));
  };

  return (
    <>
      <PageTitle
        title="Teach a meter"
        line="How an unknown meter writes its figure is learned from what you read on its display: five glances or more, each of another figure."
      />
      {saved !== null && state.meterKey === null && (
        <p role="status">
          {saved.title} is saved and read from now on. {saved.trouble}{' '}
          <a href={hashOf({ page: 'meters' })}>See its reading</a>
        </p>
      )}
      {state.meterKey === null && (
        <Listening
          onListening={(meterKey, name) => {
            setSaved(null);
            setState(begin(meterKey, name));
          }}
        />
      )}
      {state.meterKey !== null && (
        <>
          <ArrivingFrames
            state={state}
            onState={setState}
            onHold={() => setState(hold)}
            onOther={() => void leave().catch(() => undefined)}
          />
          {state.held !== null && (
            <HeldFrame
              key={state.held.atMs}
              hex={state.held.hex}
              onKeep={(display) => setState((before) => addGlance(before, display))}
              onLetGo={() => setState(letGo)}
            />
          )}
          <Glances glances={state.glances} onRemove={(i) => setState((before) => removeGlance(before, i))} />
          <Found state={state} result={result} searching={searching} onSave={save} />
        </>
      )}
      <Cautions place="meters" />
    </>
  );
}

/** Searches anew with each change of the glances. */
function useSearch(state: Teaching): { result: TeachResult | null; searching: boolean } {
  const search = useRef(new TeachSearch());
  const [found, setFound] = useState<{ of: Teaching['glances']; result: TeachResult } | null>(null);
  const { glances } = state;
  useEffect(() => {
    if (glances.length < FEWEST_TO_SEARCH) return;
    const { current } = search;
    current.ask(octetsIn(glances), (result) => setFound({ of: glances, result }));
    return () => current.close();
  }, [glances]);
  const result = found?.of === glances ? found.result : null;
  return { result, searching: result === null && glances.length >= FEWEST_TO_SEARCH };
}

/** Which meter is to be listened to. */
function Listening(p: { readonly onListening: (key: string, name: string) => void }): JSX.Element {
  const { api, sync } = useServices();
  const action = useAction();
  const meters = metersOf(useMeters(), 'server').filter((m) => m.driver === null || m.channels.length === 0);
  return (
    <section class="source" aria-label="Choose the meter">
      <header class="section-head">
        <h2>Choose the meter</h2>
        <Button
          tone="main"
          disabled={!sync.bluetooth.available}
          busy={action.busy}
          onPress={() => {
            // The browser opens its chooser for a person's press only, so it is asked at once.
            const asked = sync.listenToMeter();
            action.run(async () => {
              const outcome = await asked;
              if (!outcome.ok) throw new ApiError('meter-unreachable', outcome.sentence);
              p.onListening(outcome.key, outcome.name);
            });
          }}
        >
          Choose a meter in this browser
        </Button>
      </header>
      <p class="quiet">
        {sync.bluetooth.available
          ? 'A browser hands over only services that were named to it: a maker’s own is added under Meters.'
          : sync.bluetooth.sentence}
      </p>
      <Problem sentence={action.problem} />
      {meters.length > 0 && (
        <ul class="lines" aria-label="Meters at the server that nothing reads">
          {meters.map((m) => (
            <li key={m.key} class="line">
              <strong class="line-main">{m.name}</strong>
              <div class="row">
                <Button
                  label={`Listen to ${m.name}`}
                  busy={action.busy}
                  onPress={() =>
                    action.run(async () => {
                      const path = `meters/${encodeURIComponent(m.key)}/listen`;
                      await api.ask('POST', path, meterSchema, {});
                      p.onListening(m.key, m.name);
                    })
                  }
                >
                  Listen
                </Button>
              </div>
            </li>
          ))}
        </ul>
      )}
      {meters.length === 0 && (
        <p class="quiet">
          At the server: none that nothing reads. <a href={hashOf({ page: 'meters' })}>Look for meters</a>{' '}
          first.
        </p>
      )}
    </section>
  );
}
