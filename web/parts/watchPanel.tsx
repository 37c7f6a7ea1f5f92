import type { JSX } from 'preact';
import { useEffect, useRef, useState } from 'preact/hooks';
import type { Recording } from '../../server/messages/records.ts';
import { watchReportSchema, webhookTestSchema, type WatchReport } from '../../server/messages/watch.ts';
import {
  Alarm,
  armedText,
  checkWatch,
  watchFormOf,
  type WatchErrors,
  type WatchForm,
} from '../state/watch.ts';
import { Beeper } from './beeper.ts';
import { Button, TextField } from './controls.tsx';
import { useAction, useConnection, useEvery, useLoad, useTicker } from './hooks.ts';
import { useServices } from './services.ts';
import { Problem } from './words.tsx';

const ASK_EVERY_MS = 20_000;
/** One for all panels: a page has one loudspeaker. */
const beeper = new Beeper();

/** A night that runs by itself: its sentence of the minute, what is warned of, and what to warn of. */
export function WatchPanel(p: { readonly recording: Recording }): JSX.Element {
  const { api, sync } = useServices();
  const { id } = p.recording;
  const connection = useConnection();
  const report = useLoad<WatchReport>(`watch ${id}`, () =>
    api.ask('GET', `recordings/${id}/watch`, watchReportSchema),
  );
  const { reload } = report;
  useEvery(ASK_EVERY_MS, reload);
  // A warning is told at once, and to a page in the background too.
  useEffect(() => sync.onNotice(() => reload()), [sync, reload]);
  useEffect(() => sync.onRecording((m) => m.recording.id === id && reload()), [sync, reload, id]);
  useEffect(() => {
    if (connection.state === 'connected') reload();
  }, [connection.state, reload]);

  const value = report.value;
  const warnings = value?.warnings ?? [];
  return (
    <div class="watch">
      {value !== null && (
        <>
          <p class="glance" role="status">
            {value.glance || 'The first look at this night comes within a minute.'}
          </p>
          {value.glanceAt !== null && (
            <p class="quiet">
              As of{' '}
              {new Date(value.glanceAt).toLocaleTimeString([], {
                hour: '2-digit',
                minute: '2-digit',
                hourCycle: 'h23',
              })}
              ; worked out anew each minute by the server
              {connection.state === 'lost' ? ', which this page cannot reach now; it goes on by itself' : ''}.
            </p>
          )}
          {warnings.length > 0 && (
            <div class="warnings" role="alert">
              {warnings.map((w) => (
                <p key={`${w.code} ${w.subject}`}>{w.text}</p>
              ))}
            </div>
          )}
          <Sound warnings={warnings} />
          <Arming report={value} id={id} onReport={reload} />
        </>
      )}
      <Problem sentence={report.problem} onRetry={reload} />
    </div>
  );
}

function Sound(p: { readonly warnings: WatchReport['warnings'] }): JSX.Element {
  const alarm = useRef(new Alarm());
  const [on, setOn] = useState(beeper.isOn);
  useTicker(0.5);
  useEffect(() => {
    const now = performance.now();
    if (alarm.current.due(p.warnings, now)) beeper.beep();
  });
  return (
    <div class="row">
      <Button
        pressed={on}
        onPress={() => {
          if (on) void beeper.disable().then(() => setOn(false));
          else
            void beeper.enable().then((isOn) => {
              setOn(isOn);
              beeper.beep();
            });
        }}
      >
        {on ? 'Sound is on' : 'Sound is off: turn it on'}
      </Button>
      {p.warnings.length > 0 && alarm.current.isPending && on && (
        <Button onPress={() => alarm.current.heard()}>Heard</Button>
      )}
    </div>
  );
}

function Arming(p: {
  readonly report: WatchReport;
  readonly id: string;
  readonly onReport: () => void;
}): JSX.Element {
  const { api } = useServices();
  const { armed } = p.report;
  const action = useAction();
  const [form, setForm] = useState<WatchForm>(() => watchFormOf(armed));
  const [errors, setErrors] = useState<WatchErrors>({});
  const [tried, setTried] = useState<string | null>(null);
  const set = (change: Partial<WatchForm>): void => setForm((before) => ({ ...before, ...change }));
  const arm = (settings: unknown): void =>
    action.run(async () => {
      const next = await api.ask('PUT', `recordings/${p.id}/watch`, watchReportSchema, { settings });
      setForm(watchFormOf(next.armed));
      p.onReport();
    });
  const submit = (): void => {
    const checked = checkWatch(form);
    setErrors(checked.ok ? {} : checked.errors);
    if (checked.ok) arm(checked.settings);
  };
  const host = armed?.webhookHost ?? null;
  return (
    <>
      <p>{armed === null ? 'Not armed: nobody is warned.' : armedText(armed)}</p>
      <div class="row">
        {armed === null ? (
          <Button tone="main" busy={action.busy} onPress={submit}>
            Arm the watch
          </Button>
        ) : (
          <Button busy={action.busy} onPress={() => arm(null)}>
            Disarm
          </Button>
        )}
      </div>
      <details class="fold">
        <summary>What to warn of</summary>
        <form class="fold-body" onSubmit={(e) => e.preventDefault()}>
          <div class="form-grid">
            <TextField
              label="Battery below"
              unit="V"
              decimal
              value={form.floorV}
              problem={errors.floorV}
              hint="For half a minute"
              onValue={(floorV) => set({ floorV })}
            />
            <TextField
              label="Meter quiet for"
              unit="min"
              decimal
              value={form.quietMin}
              problem={errors.quietMin}
              onValue={(quietMin) => set({ quietMin })}
            />
            <TextField
              label="Car awake after"
              unit="min"
              decimal
              value={form.awakeMin}
              problem={errors.awakeMin}
              onValue={(awakeMin) => set({ awakeMin })}
            />
            <TextField
              label="Disk with less than"
              unit="MB"
              decimal
              value={form.diskMb}
              problem={errors.diskMb}
              onValue={(diskMb) => set({ diskMb })}
            />
          </div>
          <TextField
            label="Also send each warning to this address (webhook)"
            value={form.webhook}
            problem={errors.webhook}
            maxLength={500}
            hint={
              host === null
                ? 'Empty: nowhere. The server posts a small JSON message there; nothing else leaves this computer.'
                : `Set, at ${host}. Empty: stays as it is.`
            }
            onValue={(webhook) => set({ webhook })}
          />
          {host !== null && (
            <label class="switch">
              <input
                type="checkbox"
                checked={form.dropWebhook}
                onChange={(e) => set({ dropWebhook: e.currentTarget.checked })}
              />
              <span>Take the address away</span>
            </label>
          )}
          <div class="row">
            <Button tone={armed === null ? 'plain' : 'main'} busy={action.busy} submits onPress={submit}>
              {armed === null ? 'Arm with these' : 'Change'}
            </Button>
            {host !== null && (
              <Button
                busy={action.busy}
                onPress={() =>
                  action.run(async () => {
                    const { sentence } = await api.ask(
                      'POST',
                      `recordings/${p.id}/watch/test`,
                      webhookTestSchema,
                      {},
                    );
                    setTried(sentence);
                  })
                }
              >
                Send a test message
              </Button>
            )}
          </div>
          {tried !== null && <p role="status">{tried}</p>}
          {p.report.webhook !== '' && <p class="quiet">Last message: {p.report.webhook}</p>}
        </form>
      </details>
      <Problem sentence={action.problem} />
    </>
  );
}
