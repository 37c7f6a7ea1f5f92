import type { JSX } from 'preact';
import { useEffect, useMemo, useState } from 'preact/hooks';
import type { AnalysisOptions, Findings } from '../../server/messages/findings.ts';
import type { Case } from '../../server/messages/records.ts';
import type { RecordingDetail } from '../../server/messages/http.ts';
import { verdictOf } from '../../server/messages/sentences.ts';
import { csvPath } from '../state/api.ts';
import { placeOfFlag } from '../state/places.ts';
import { recordingLine } from '../state/recordings.ts';
import { hashOf } from '../state/route.ts';
import { regimeTable, stepTable, wakeUpTable } from '../state/tables.ts';
import { fitWindow, type TimeWindow } from '../state/window.ts';
import { Button, LinkButton } from '../parts/controls.tsx';
import { FlagPart, TablePart, VerdictPart } from '../parts/findingParts.tsx';
import { useLoad, useRunning } from '../parts/hooks.ts';
import { KeyFigures } from '../parts/keyFigures.tsx';
import { NightChart } from '../parts/nightChart.tsx';
import { Options } from '../parts/options.tsx';
import { Keep } from '../parts/keep.tsx';
import { Sentences } from '../parts/sentences.tsx';
import { useServices } from '../parts/services.ts';
import { PageTitle, Problem, Tag, Waiting } from '../parts/words.tsx';

/** A recording: what it says, and where one sees it. */
export function NightPage(p: { readonly id: string }): JSX.Element {
  const { api } = useServices();
  const runs = useRunning().some((m) => m.recording.id === p.id);
  const [turn, setTurn] = useState(0);
  const [options, setOptions] = useState<AnalysisOptions>({});
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
  const [view, setView] = useState<TimeWindow>(whole);
  useEffect(() => setView(whole), [whole]);
  const show = (place: TimeWindow): void => {
    setView(fitWindow(place, whole));
    const chart = document.getElementById('chart');
    const calm = matchMedia('(prefers-reduced-motion: reduce)').matches;
    chart?.scrollIntoView({ behavior: calm ? 'auto' : 'smooth', block: 'start' });
    chart?.querySelector<HTMLElement>('.plot')?.focus({ preventScroll: true });
  };
  const verdict = useMemo(() => (findings === null ? null : verdictOf(findings)), [findings]);
  const tables = (
    findings === null
      ? []
      : [regimeTable, wakeUpTable, stepTable].map((make) => make(findings, recording, whole))
  ).filter((table) => table.rows.length > 0);
  // The most telling flag already stands in the verdict.
  const flags = (findings?.flags ?? []).filter((f) => f.summary !== verdict?.headline);
  const first = findings?.flags.find((f) => f.summary === verdict?.headline);
  const firstPlace = findings && first ? placeOfFlag(first.code, findings, whole) : null;

  return (
    <>
      <PageTitle title={recording.title} line={recordingLine(recording, itsCase.value?.title)}>
        {recording.state === 'recording' && <Tag kind="running">Recording</Tag>}
        {recording.state === 'recording' && <Button onPress={p.onAgain}>Read again</Button>}
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
      <Problem sentence={p.problem} onRetry={p.onAgain} />
      {findings === null && p.problem === null && <Waiting>Working out the findings.</Waiting>}
      {verdict !== null && (
        <VerdictPart verdict={verdict} onShow={firstPlace === null ? null : () => show(firstPlace)} />
      )}
      {findings !== null && <KeyFigures findings={findings} />}
      <NightChart detail={detail} findings={findings} whole={whole} view={view} onView={setView} />
      {findings !== null && flags.length > 0 && (
        <section aria-labelledby="flags-heading">
          <h2 id="flags-heading">What stands out besides</h2>
          <ul class="flags">
            {flags.map((flag) => {
              const place = placeOfFlag(flag.code, findings, whole);
              return (
                <FlagPart key={flag.code} flag={flag} onShow={place === null ? null : () => show(place)} />
              );
            })}
          </ul>
        </section>
      )}
      {findings !== null && (
        <>
          <Sentences findings={findings} begin={recording} whole={whole} onShow={show} />
          {tables.length > 0 && (
            <section aria-labelledby="tables-heading" class="tables">
              <h2 id="tables-heading">Tables</h2>
              {tables.map((table) => (
                <TablePart key={table.caption} table={table} onShow={show} />
              ))}
            </section>
          )}
          <Options onUse={p.onOptions} />
        </>
      )}
      <Keep recording={recording} onMoved={p.onAgain} />
    </>
  );
}
