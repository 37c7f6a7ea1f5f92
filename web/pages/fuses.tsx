import type { JSX } from 'preact';
import { useEffect, useState } from 'preact/hooks';
import { fuseWalkSchema, FUSE_KINDS, type AddFuse, type FuseWalk } from '../../server/messages/fuses.ts';
import type { Case, Recording } from '../../server/messages/records.ts';
import { Button, Choice, LinkButton, SelectField, TextField } from '../parts/controls.tsx';
import { useAction, useEvery, useLoad, useRunning, useTicker, type Action } from '../parts/hooks.ts';
import { useServices } from '../parts/services.ts';
import { Cautions, PageTitle, Problem, Waiting } from '../parts/words.tsx';
import { displayFigure, figureLine } from '../state/figure.ts';
import {
  balance,
  checkDrop,
  checkWhole,
  dropPreview,
  EMPTY_DROP,
  fuseRows,
  ratingsOf,
  withKind,
  type DropErrors,
  type DropForm,
} from '../state/fuses.ts';
import { chosenChannel } from '../state/live.ts';
import { hashOf } from '../state/route.ts';

const ASK_EVERY_MS = 3000;
const KIND_LABELS = { standard: 'Standard blade', mini: 'Mini blade' } as const;

/** Finding the circuit: fuse by fuse with the car asleep, by millivolts or by pulling, against the clamp. */
export function FusesPage(p: { readonly caseId: string }): JSX.Element {
  const { api } = useServices();
  const item = useLoad<Case>(p.caseId, () => api.getCase(p.caseId));
  const running = useRunning().find((m) => m.recording.caseId === p.caseId)?.recording ?? null;
  const path = `cases/${p.caseId}/fuses`;
  const loaded = useLoad<FuseWalk>(path, () => api.ask('GET', path, fuseWalkSchema));
  const [told, setTold] = useState<FuseWalk | null>(null);
  useEffect(() => setTold(null), [loaded.value]);
  const walk = told ?? loaded.value;
  const action = useAction();
  const waits = walk?.lines.some((l) => l.measured.way === 'pull' && !l.measured.isFinal) ?? false;
  useEvery(waits ? ASK_EVERY_MS : null, loaded.reload);

  const ask = (method: 'POST' | 'PUT' | 'DELETE', more: string, body?: unknown): void =>
    action.run(async () => setTold(await api.ask(method, `${path}${more}`, fuseWalkSchema, body)));
  return (
    <>
      <PageTitle title="Finding the circuit" line={item.value?.title}>
        <LinkButton href={hashOf({ page: 'case', id: p.caseId })}>Back to the case</LinkButton>
      </PageTitle>
      <ol class="fuse-steps">
        <li>
          Shut the car as for a night, with the bonnet latch and the door latches closed by hand, and wait
          until it sleeps.
        </li>
        <li>Take the whole draw by the clamp.</li>
        <li>Go from fuse to fuse by millivolts: nothing is unplugged, nothing wakes.</li>
        <li>
          Pull a fuse only where millivolts are too coarse. It can wake or reset units: wait for sleep after
          each.
        </li>
      </ol>
      {walk === null ? (
        loaded.problem === null && <Waiting>Reading the list.</Waiting>
      ) : (
        <Result
          walk={walk}
          onBack={(id) => ask('POST', `/${id}/back`, {})}
          onRemove={(id) => ask('DELETE', `/${id}`)}
        />
      )}
      <Problem sentence={action.problem ?? loaded.problem} onRetry={loaded.reload} />
      <Whole
        running={running}
        caseId={p.caseId}
        action={action}
        onWhole={(body) => ask('PUT', '/whole', body)}
      />
      <DropPart action={action} onAdd={(fuse) => ask('POST', '', fuse)} />
      <PullPart running={running} action={action} onAdd={(fuse) => ask('POST', '', fuse)} />
      <Cautions place="fuses" />
    </>
  );
}

function Result(p: {
  readonly walk: FuseWalk;
  readonly onBack: (id: string) => void;
  readonly onRemove: (id: string) => void;
}): JSX.Element {
  return (
    <section class="fuse-result" aria-labelledby="fuse-result-heading">
      <h2 id="fuse-result-heading">Circuits so far</h2>
      <ul class="plain-list" aria-live="polite">
        {p.walk.says.map((text) => (
          <li key={text}>{text}</li>
        ))}
      </ul>
      {p.walk.lines.length > 0 && (
        <dl class="fuse-balance">
          {balance(p.walk).map(([what, figure]) => (
            <div key={what}>
              <dt>{what}</dt>
              <dd>{figure}</dd>
            </div>
          ))}
        </dl>
      )}
      <ol class="fuse-lines" aria-label="Fuses, largest current first">
        {fuseRows(p.walk).map((row) => (
          <li key={row.id}>
            <p class="fuse-head">
              <strong>{row.place}</strong> <span class="fuse-figure">{row.figure}</span>
            </p>
            {row.share !== null && (
              <div class="fuse-bar" aria-hidden="true">
                <span style={{ width: `${100 * row.share}%` }} />
              </div>
            )}
            <p class="quiet">
              {row.how}
              {row.says !== '' && `. ${row.says}`}
            </p>
            <div class="row">
              {row.isOut && (
                <Button tone="main" onPress={() => p.onBack(row.id)}>
                  Put back now
                </Button>
              )}
              <button
                type="button"
                class="as-link"
                aria-label={`Take off the list: ${row.place}`}
                onClick={() => p.onRemove(row.id)}
              >
                Take off the list
              </button>
            </div>
          </li>
        ))}
      </ol>
    </section>
  );
}

/** The current that flows now, large enough to be read from the fuse box. */
function CurrentNow(): JSX.Element | null {
  const { board } = useServices();
  useTicker(4);
  const channel = chosenChannel(board.channels(), 'current', null);
  return channel === null ? null : (
    <p class="fuse-now">{figureLine(displayFigure('current', channel.text))}</p>
  );
}

function Whole(p: {
  readonly running: Recording | null;
  readonly caseId: string;
  readonly action: Action;
  readonly onWhole: (body: unknown) => void;
}): JSX.Element {
  const [milliamps, setMilliamps] = useState('');
  const [plusMinus, setPlusMinus] = useState('');
  const [problem, setProblem] = useState<string | null>(null);
  const submit = (): void => {
    const checked = checkWhole(milliamps, plusMinus);
    setProblem(typeof checked === 'string' ? checked : null);
    if (typeof checked !== 'string') p.onWhole(checked);
  };
  return (
    <section class="fuse-part" aria-labelledby="whole-heading">
      <h2 id="whole-heading">The whole draw</h2>
      <CurrentNow />
      {p.running === null ? (
        <p>
          With a recording of this case running, the clamp's last 20 s are taken; a pull can be measured only
          then. <a href={hashOf({ page: 'live', caseId: p.caseId })}>Start a recording</a>
        </p>
      ) : (
        <div class="row">
          <Button busy={p.action.busy} onPress={() => p.onWhole({ recordingId: p.running!.id })}>
            Take the last 20 s as the whole draw
          </Button>
        </div>
      )}
      <details class="fold">
        <summary>Enter it by hand</summary>
        <form class="fold-body" onSubmit={(e) => e.preventDefault()}>
          <div class="form-grid">
            <TextField label="Whole draw" unit="mA" decimal value={milliamps} onValue={setMilliamps} />
            <TextField label="May be off by" unit="mA" decimal value={plusMinus} onValue={setPlusMinus} />
          </div>
          <div class="row">
            <Button submits busy={p.action.busy} onPress={submit}>
              Keep it
            </Button>
          </div>
          <Problem sentence={problem} />
        </form>
      </details>
    </section>
  );
}

function DropPart(p: { readonly action: Action; readonly onAdd: (fuse: AddFuse) => void }): JSX.Element {
  const [form, setForm] = useState<DropForm>(EMPTY_DROP);
  const [errors, setErrors] = useState<DropErrors>({});
  const set = (change: Partial<DropForm>): void => setForm((before) => ({ ...before, ...change }));
  const submit = (): void => {
    const checked = checkDrop(form);
    setErrors(checked.ok ? {} : checked.errors);
    if (!checked.ok) return;
    p.onAdd(checked.fuse);
    set({ place: '', millivolts: '' });
  };
  return (
    <section class="fuse-part" aria-labelledby="drop-heading">
      <h2 id="drop-heading">Millivolts across a fuse</h2>
      <form class="form" onSubmit={(e) => e.preventDefault()}>
        <Choice
          legend="Kind of fuse"
          value={form.kind}
          options={FUSE_KINDS.map((value) => ({ value, label: KIND_LABELS[value] }))}
          onValue={(kind) => setForm((before) => withKind(before, kind))}
        />
        <div class="form-grid">
          <TextField
            label="Fuse"
            value={form.place}
            problem={errors.place}
            maxLength={60}
            hint="As the box names it: F12 radio"
            onValue={(place) => set({ place })}
          />
          <SelectField
            label="Printed on it"
            value={form.rating}
            options={ratingsOf(form.kind).map((value) => ({ value, label: `${value} A` }))}
            onValue={(rating) => set({ rating })}
          />
          <TextField
            label="Across it"
            unit="mV"
            decimal
            value={form.millivolts}
            problem={errors.millivolts}
            maxLength={10}
            hint="With all digits that the meter shows"
            onValue={(millivolts) => set({ millivolts })}
          />
        </div>
        <p class="fuse-preview" role="status">
          {dropPreview(form)}
        </p>
        <div class="row">
          <Button tone="main" submits busy={p.action.busy} onPress={submit}>
            Add to the list
          </Button>
        </div>
      </form>
    </section>
  );
}

function PullPart(p: {
  readonly running: Recording | null;
  readonly action: Action;
  readonly onAdd: (fuse: AddFuse) => void;
}): JSX.Element | null {
  const { sync } = useServices();
  const [place, setPlace] = useState('');
  const [problem, setProblem] = useState('');
  const { running } = p;
  if (running === null) return null;
  const pulled = (): void => {
    setProblem(place.trim() === '' ? 'Name the fuse first, then pull it.' : '');
    if (place.trim() === '') return;
    const nowMs = sync.serverNowMs();
    const when = nowMs === null ? {} : { nowMs };
    p.onAdd({ place: place.trim(), measured: { way: 'pull', recordingId: running.id, ...when } });
    setPlace('');
  };
  return (
    <section class="fuse-part" aria-labelledby="pull-heading">
      <h2 id="pull-heading">Pull a fuse and tap</h2>
      <CurrentNow />
      <p>
        Let the draw stand still for 25 s, pull, tap, and leave it out for 25 s. The step is measured from the
        readings; what the pull woke must sleep first.
      </p>
      <form class="form" onSubmit={(e) => e.preventDefault()}>
        <TextField label="Fuse to pull" value={place} problem={problem} maxLength={60} onValue={setPlace} />
        <button type="submit" class="thumb" aria-disabled={p.action.busy} onClick={pulled}>
          Pulled now
        </button>
      </form>
    </section>
  );
}
