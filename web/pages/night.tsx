import type { JSX } from 'preact';
import { useCallback, useMemo, useRef, useState } from 'preact/hooks';
import type { AnalysisOptions, Findings } from '../../server/messages/findings.ts';
import type { Case, Recording } from '../../server/messages/records.ts';
import type { RecordingDetail } from '../../server/messages/http.ts';
import { verdictOf } from '../../server/messages/sentences.ts';
import { csvPath } from '../state/api.ts';
import { clockText } from '../state/clocktime.ts';
import { placeOfFlag } from '../state/places.ts';
import { recordingLine } from '../state/recordings.ts';
import { hashOf } from '../state/route.ts';
import { regimeTable, stepTable, wakeUpTable } from '../state/tables.ts';
import { fitWindow, viewAfterGrowth, type TimeWindow } from '../state/window.ts';
import { CompareWith } from '../parts/compareWith.tsx';
import { LinkButton } from '../parts/controls.tsx';
import { FlagPart, TablePart, VerdictPart } from '../parts/findingParts.tsx';
import { useEvery, useLoad, useRunning } from '../parts/hooks.ts';
import { KeyFigures } from '../parts/keyFigures.tsx';
import { NightChart } from '../parts/nightChart.tsx';
import { PulsePart } from '../parts/pulsePart.tsx';
import { Options } from '../parts/options.tsx';
import { Evidence } from '../parts/evidence.tsx';
import { Keep } from '../parts/keep.tsx';
import { Sentences } from '../parts/sentences.tsx';
import { useServices } from '../parts/services.ts';
import { PageTitle, Problem, Tag, Waiting } from '../parts/words.tsx';

/** While it runs, the recording and its findings are read again so often. */
const AGAIN_MS = 60_000;

/** A recording: what it says, and where one sees it. */
export function NightPage(p: { readonly id: string }): JSX.Element {
  const { api } = useServices();
  const runs = useRunning().some((m) => m.recording.id === p.id);
  const [turn, setTurn] = useState(0);
  const [options, setOptions] = useState<AnalysisOptions>({});
  useEvery(runs ? AGAIN_MS : null, () => setTurn((n) => n + 1));
  const version = `${runs} ${turn}`;
  const detail = useLoad<RecordingDetail>(p.id, () => api.getRecording(p.id), version);
  const findings = useLoad<Findings>(
    p.id,
    () => api.findings(p.id, options),
    `${version} ${JSON.stringify(options)}`,
  );
  if (detail.value === null)
    return detail.problem === null ? (
      <Waiting>Reading the recording.</Waiting>
    ) : (
      <>
        <PageTitle title="Recording" />
        <Problem sentence={detail.problem} onRetry={detail.reload} />
      </>
    );
  return (
    <Night
      key={p.id}
      detail={detail.value}
      findings={findings.value}
      problem={findings.problem}
      onAgain={() => setTurn(turn + 1)}
      onOptions={setOptions}
    />
  );
}

function Night(p: {
  readonly detail: RecordingDetail;
  readonly findings: Findings | null;
  readonly problem: string | null;
  readonly onAgain: () => void;
  readonly onOptions: (options: AnalysisOptions) => void;
}): JSX.Element {
  const { detail, findings } = p;
  const { recording } = detail;
  const { api } = useServices();
  const itsCase = useLoad<Case>(recording.caseId, () => api.getCase(recording.caseId!));
  const durationS = Math.max(recording.durationMs / 1000, findings?.recording.durationS ?? 0, 1);
  const whole = useMemo((): TimeWindow => ({ fromS: 0, toS: durationS }), [durationS]);
  const [looked, setLooked] = useState({ view: whole, whole });
  // Moving the view draws the chart anew and nothing else: what stands around it is made once.
  const view = looked.whole === whole ? looked.view : viewAfterGrowth(looked.view, looked.whole, whole);
  const latest = useRef(whole);
  latest.current = whole;
  const setView = useCallback((next: TimeWindow) => setLooked({ view: next, whole: latest.current }), []);
  const show = useCallback((place: TimeWindow): void => {
    setView(fitWindow(place, latest.current));
    const chart = document.getElementById('chart');
    const calm = matchMedia('(prefers-reduced-motion: reduce)').matches;
    chart?.scrollIntoView({ behavior: calm ? 'auto' : 'smooth', block: 'start' });
    chart?.querySelector<HTMLElement>('.plot')?.focus({ preventScroll: true });
  }, []);
  const again = useRef(p);
  again.current = p;
  const onAgain = useCallback(() => again.current.onAgain(), []);
  const onOptions = useCallback((options: AnalysisOptions) => again.current.onOptions(options), []);
  const caseTitle = itsCase.value?.title;
  const above = useMemo(
    () => (
      <Above
        recording={recording}
        caseTitle={caseTitle}
        findings={findings}
        problem={p.problem}
        whole={whole}
        onAgain={onAgain}
        onShow={show}
      />
    ),
    [recording, caseTitle, findings, p.problem, whole],
  );
  const below = useMemo(
    () => (
      <>
        {findings !== null && (
          <Below
            recording={recording}
            findings={findings}
            whole={whole}
            onShow={show}
            onOptions={onOptions}
          />
        )}
        <CompareWith recording={recording} />
        <Evidence recording={recording} />
        <Keep recording={recording} onMoved={onAgain} />
      </>
    ),
    [recording, findings, whole],
  );
  return (
    <>
      {above}
      <NightChart detail={detail} findings={findings} whole={whole} view={view} onView={setView} />
      {below}
    </>
  );
}

function Above(p: {
  readonly recording: Recording;
  readonly caseTitle: string | undefined;
  readonly findings: Findings | null;
  readonly problem: string | null;
  readonly whole: TimeWindow;
  readonly onAgain: () => void;
  readonly onShow: (place: TimeWindow) => void;
}): JSX.Element {
  const { recording, findings, whole } = p;
  const runs = recording.state === 'recording';
  const verdict = findings === null ? null : verdictOf(findings);
  const first = findings?.flags.find((f) => f.summary === verdict?.headline);
  const place = findings && first ? placeOfFlag(first.code, findings, whole) : null;
  return (
    <>
      <PageTitle title={recording.title} line={recordingLine(recording, p.caseTitle)}>
        {runs && <Tag kind="running">Recording</Tag>}
        {recording.caseId !== null && (
          <LinkButton href={hashOf({ page: 'case', id: recording.caseId })}>Its case</LinkButton>
        )}
        <LinkButton href={csvPath(recording.id)} download={`${recording.title}.csv`}>
          Download CSV
        </LinkButton>
        {recording.state === 'stopped' && (
          <>
            <LinkButton href={`/api/recordings/${recording.id}/report.pdf`} download="report.pdf">
              Report
            </LinkButton>
            <LinkButton href={`/api/recordings/${recording.id}/bundle.zip`} download="bundle.zip">
              Sealed bundle
            </LinkButton>
          </>
        )}
      </PageTitle>
      {runs && findings !== null && (
        <p class="quiet">
          Findings so far, up to {clockText(recording, findings.recording.durationS)}; worked out anew each
          minute.
        </p>
      )}
      <Problem sentence={p.problem} onRetry={p.onAgain} />
      {findings === null && p.problem === null && <Waiting>Working out the findings.</Waiting>}
      {verdict !== null && (
        <VerdictPart verdict={verdict} onShow={place === null ? null : () => p.onShow(place)} />
      )}
      {findings !== null && <KeyFigures findings={findings} />}
    </>
  );
}

function Below(p: {
  readonly recording: Recording;
  readonly findings: Findings;
  readonly whole: TimeWindow;
  readonly onShow: (place: TimeWindow) => void;
  readonly onOptions: (options: AnalysisOptions) => void;
}): JSX.Element {
  const { recording, findings, whole, onShow } = p;
  const tables = [regimeTable, wakeUpTable, stepTable]
    .map((make) => make(findings, recording, whole))
    .filter((table) => table.rows.length > 0);
  // The most telling flag already stands in the verdict.
  const headline = verdictOf(findings).headline;
  const flags = findings.flags.filter((f) => f.summary !== headline);
  return (
    <>
      {flags.length > 0 && (
        <section aria-labelledby="flags-heading">
          <h2 id="flags-heading">What stands out besides</h2>
          <ul class="flags">
            {flags.map((flag) => {
              const place = placeOfFlag(flag.code, findings, whole);
              return (
                <FlagPart key={flag.code} flag={flag} onShow={place === null ? null : () => onShow(place)} />
              );
            })}
          </ul>
        </section>
      )}
      <PulsePart recordingId={recording.id} findings={findings} begin={recording} />
      <Sentences findings={findings} begin={recording} whole={whole} onShow={onShow} />
      {tables.length > 0 && (
        <section aria-labelledby="tables-heading" class="tables">
          <h2 id="tables-heading">Tables</h2>
          {tables.map((table) => (
            <TablePart key={table.caption} table={table} onShow={onShow} />
          ))}
        </section>
      )}
      <Options onUse={p.onOptions} />
    </>
  );
}
