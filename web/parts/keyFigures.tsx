import type { JSX } from 'preact';
import type { Findings } from '../../server/messages/findings.ts';
import { keyFigures } from '../state/keyFigures.ts';
import { budgetParts, budgetTotal } from '../state/tables.ts';
import { Dial } from './dial.tsx';

/** The four figures that a technician asks for, two of them on their dials. */
export function KeyFigures(p: { readonly findings: Findings }): JSX.Element {
  const f = p.findings;
  const parts = budgetParts(f);
  const total = budgetTotal(f);
  return (
    <section class="key-figures" aria-label="Figures of this recording">
      {keyFigures(f).map((k) => (
        <div key={k.name} class={`key-figure ${k.quantity ?? ''}`}>
          <h2>{k.name}</h2>
          <p class="big">
            {k.main}
            {k.spread !== null && <span class="spread">{k.spread}</span>}
          </p>
          {k.quantity !== null && <Dial quantity={k.quantity} value={k.value} zoneBelow={k.zoneBelow} />}
          <p class="quiet small">{k.note}</p>
        </div>
      ))}
      {parts !== null && (
        <div class="key-figure budget">
          <h2>Where the draw goes</h2>
          {total !== null && (
            <p class="budget-total">
              In all <strong>{total.text}</strong>
              {total.aDay}
            </p>
          )}
          <div class="budget-bar" aria-hidden="true">
            {parts.map((part, i) => (
              <span key={part.name} class={`part-${i}`} style={{ flexGrow: Math.max(part.share, 0.001) }} />
            ))}
          </div>
          <ul>
            {parts.map((part, i) => (
              <li key={part.name} class={`part-${i}`}>
                {part.name} <strong>{part.text}</strong>
              </li>
            ))}
          </ul>
        </div>
      )}
    </section>
  );
}
