import type { JSX } from 'preact';
import type { CaseAttempts } from '../../server/messages/attempts.ts';
import { caseSchema } from '../../server/messages/records.ts';
import { thresholdView, type ThresholdLine } from '../state/attempts.ts';
import { Button } from './controls.tsx';
import { useAction } from './hooks.ts';
import { useServices } from './services.ts';
import { Problem } from './words.tsx';

/** What the tries of a case say of this car, and the way to use it in the findings. */
export function ThresholdPart(p: {
  readonly all: CaseAttempts;
  readonly onChanged: () => void;
}): JSX.Element {
  const { api } = useServices();
  const action = useAction();
  const view = thresholdView(p.all);
  const take = (yes: boolean): void =>
    action.run(async () => {
      await api.ask('PUT', `cases/${p.all.caseId}/threshold`, caseSchema, { take: yes });
      p.onChanged();
    });
  return (
    <section class="threshold" aria-labelledby="threshold-heading">
      <h2 id="threshold-heading">{view.headline}</h2>
      {view.line !== null && <TriesLine line={view.line} />}
      <ul class="plain-list">
        {view.says.map((text) => (
          <li key={text}>{text}</li>
        ))}
      </ul>
      {p.all.caseId === null && (
        <p class="quiet">
          Put the recording into a case, and its tries count together with those of other days.
        </p>
      )}
      {view.inUse !== null && <p>{view.inUse}</p>}
      <div class="row">
        {view.canTake && (
          <Button tone="main" busy={action.busy} onPress={() => take(true)}>
            Use it for this car's findings
          </Button>
        )}
        {view.inUse !== null && (
          <Button busy={action.busy} onPress={() => take(false)}>
            Go back to the default
          </Button>
        )}
      </div>
      <Problem sentence={action.problem} />
    </section>
  );
}

const W = 1000;

/** Each try at its voltage: above the line where it worked, below where it failed. The sentences say the same. */
function TriesLine(p: { readonly line: ThresholdLine }): JSX.Element {
  const { fromV, toV, tries, band, middle } = p.line;
  const x = (at: number): number => 12 + at * (W - 24);
  return (
    <div class="tries-line" aria-hidden="true">
      <svg viewBox={`0 0 ${W} 90`} preserveAspectRatio="none">
        {band !== null && (
          <rect class="tries-band" x={x(band[0])} width={x(band[1]) - x(band[0])} y={0} height={90} />
        )}
        <line class="tries-axis" x1={0} x2={W} y1={45} y2={45} />
        {middle !== null && <line class="tries-middle" x1={x(middle)} x2={x(middle)} y1={0} y2={90} />}
      </svg>
      {tries.map((t, i) => (
        <span
          key={i}
          class={t.worked ? 'try-mark worked' : 'try-mark failed'}
          style={{ left: `${(100 * x(t.at)) / W}%` }}
        />
      ))}
      <div class="tries-ends">
        <span>{fromV.toFixed(1)} V</span>
        <span>worked above the line, failed below</span>
        <span>{toV.toFixed(1)} V</span>
      </div>
    </div>
  );
}
