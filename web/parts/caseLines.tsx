import type { JSX } from 'preact';
import type { Case, Recording } from '../../server/messages/records.ts';
import { findCases, type Shelf } from '../state/caseSearch.ts';
import { newestOfCases, recordingLine, recordingsCountText } from '../state/recordings.ts';
import { hashOf } from '../state/route.ts';
import { Button } from './controls.tsx';
import { useConnection, useLoad, useRunning } from './hooks.ts';
import { useServices } from './services.ts';
import { Strip } from './strip.tsx';
import { Problem, Tag, Waiting } from './words.tsx';

/** Cases on a shelf that fit what is looked for, each with its newest night as a silhouette. */
export function CaseList(p: {
  readonly asked?: string;
  readonly shelf?: Shelf;
  readonly onShelf?: (shelf: Shelf) => void;
}): JSX.Element {
  const { api } = useServices();
  const { asked = '', shelf = 'open' } = p;
  const connection = useConnection();
  const cases = useLoad<Case[]>('cases', () => api.listCases(), connection.state);
  const recordings = useLoad<Recording[]>('recordings', () => api.listRecordings(), connection.state);
  const newest = newestOfCases(recordings.value ?? []);
  const found = findCases(cases.value ?? [], asked, shelf);
  const elsewhere = shelf === 'open' ? found.archived : found.open;
  return (
    <>
      <Problem sentence={cases.problem} onRetry={cases.reload} />
      {cases.value === null && cases.problem === null && <Waiting>Reading the cases.</Waiting>}
      {cases.value?.length === 0 && <p class="quiet">No case yet. A case is one car and one complaint.</p>}
      <div role="status">
        {asked.trim() !== '' && cases.value !== null && (
          <p class="quiet">
            {found.cases.length === 1 ? '1 case fits.' : `${found.cases.length} cases fit.`}
          </p>
        )}
        {p.onShelf !== undefined && found.cases.length === 0 && elsewhere > 0 && (
          <Button onPress={() => p.onShelf?.(shelf === 'open' ? 'archived' : 'open')}>
            {`${elsewhere} ${shelf === 'open' ? 'in the archive' : 'among the open ones'}`}
          </Button>
        )}
      </div>
      <ul class="lines">
        {found.cases.map((c) => (
          <CaseLine key={c.id} item={c} newest={newest.get(c.id) ?? null} />
        ))}
      </ul>
    </>
  );
}

function CaseLine(p: { readonly item: Case; readonly newest: Recording | null }): JSX.Element {
  const { item, newest } = p;
  return (
    <li class="line with-strip">
      <a class="line-main" href={hashOf({ page: 'case', id: item.id })}>
        <strong>{item.title}</strong>
      </a>
      {item.demo && <Tag kind="demo">Demo</Tag>}
      <p class="quiet">
        {[item.plateOrVin, item.complaint.split('\n')[0], recordingsCountText(item.recordings)]
          .filter((t) => t !== '')
          .join(' · ')}
      </p>
      {newest !== null && <RecordingStrip item={newest} />}
    </li>
  );
}

export function RecordingLine(p: {
  readonly item: Recording;
  readonly caseTitle?: string | null;
}): JSX.Element {
  const { item } = p;
  return (
    <li class="line with-strip">
      <a class="line-main" href={hashOf({ page: 'night', id: item.id })}>
        <strong>{item.title}</strong>
      </a>
      {item.state === 'recording' && <Tag kind="running">Recording</Tag>}
      <p class="quiet">{recordingLine(item, p.caseTitle ?? null)}</p>
      <RecordingStrip item={item} />
    </li>
  );
}

function RecordingStrip(p: { readonly item: Recording }): JSX.Element {
  const running = useRunning().some((m) => m.recording.id === p.item.id);
  return <Strip recordingId={p.item.id} stamp={running ? 'running' : String(p.item.durationMs)} />;
}
