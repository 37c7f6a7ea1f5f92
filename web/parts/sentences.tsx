import type { JSX } from 'preact';
import type { Findings } from '../../server/messages/findings.ts';
import { describeFindings } from '../../server/messages/sentences.ts';
import { clockText, type Beginning } from '../state/clocktime.ts';
import { placeOfMoment } from '../state/places.ts';
import type { TimeWindow } from '../state/window.ts';

const TOPICS = [
  { topic: 'sleep', title: 'Falling asleep' },
  { topic: 'polling', title: 'Polling' },
  { topic: 'wake-ups', title: 'Wake-ups' },
  { topic: 'draw', title: 'Draw' },
  { topic: 'battery', title: 'Battery' },
  { topic: 'recording', title: 'The recording itself' },
] as const;

/** The findings in sentences, by topic; each that has a place leads to it on the chart. */
export function Sentences(p: {
  readonly findings: Findings;
  readonly begin: Beginning;
  readonly whole: TimeWindow;
  readonly onShow: (place: TimeWindow) => void;
}): JSX.Element {
  const all = describeFindings(p.findings);
  return (
    <section aria-labelledby="findings-heading" class="sentences">
      <h2 id="findings-heading">Findings</h2>
      <div class="topics">
        {TOPICS.map(({ topic, title }) => {
          const mine = all.filter((s) => s.topic === topic);
          return mine.length === 0 ? null : (
            <div key={topic} class="topic">
              <h3>{title}</h3>
              <ul>
                {mine.map((s) => (
                  <li key={s.text}>
                    <span>{s.text}</span>
                    {s.atS !== null && (
                      <button
                        type="button"
                        class="as-link place"
                        aria-label={`${clockText(p.begin, s.atS)}. Show on the chart: ${s.text}`}
                        onClick={() => p.onShow(placeOfMoment(s.atS!, topic, p.findings, p.whole))}
                      >
                        {clockText(p.begin, s.atS)}
                      </button>
                    )}
                  </li>
                ))}
              </ul>
            </div>
          );
        })}
      </div>
    </section>
  );
}
