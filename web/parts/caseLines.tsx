import type { JSX } from 'preact';
import type { Case, Recording } from '../../server/messages/records.ts';
import { recordingLine, recordingsCountText } from '../state/recordings.ts';
import { hashOf } from '../state/route.ts';
import { Strip } from './strip.tsx';
import { Tag } from './words.tsx';

export function CaseLine(p: { readonly item: Case }): JSX.Element {
  const { item } = p;
  return (
    <li class="line">
      <a class="line-main" href={hashOf({ page: 'case', id: item.id })}>
        <strong>{item.title}</strong>
      </a>
      {item.demo && <Tag kind="demo">Demo</Tag>}
      <p class="quiet">
        {[item.plateOrVin, item.complaint.split('\n')[0], recordingsCountText(item.recordings)]
          .filter((t) => t !== '')
          .join(' · ')}
      </p>
    </li>
  );
}

export function RecordingLine(p: { readonly item: Recording }): JSX.Element {
  const { item } = p;
  return (
    <li class="line with-strip">
      <a class="line-main" href={hashOf({ page: 'night', id: item.id })}>
        <strong>{item.title}</strong>
      </a>
      {item.state === 'recording' && <Tag kind="running">Recording</Tag>}
      <p class="quiet">{recordingLine(item)}</p>
      <Strip recordingId={item.id} stamp={item.state === 'recording' ? 'running' : String(item.durationMs)} />
    </li>
  );
}
