import type { JSX } from 'preact';
import type { Flag } from '../../server/messages/findings.ts';
import type { Verdict } from '../../server/messages/sentences.ts';
import type { FindingsTable } from '../state/tables.ts';
import type { TimeWindow } from '../state/window.ts';
import { Button } from './controls.tsx';

type Level = Verdict['level'] | Flag['severity'];
const WORDS: Readonly<Record<Level, string>> = {
  act: 'Act',
  watch: 'Watch',
  info: 'Note',
  fine: 'In order',
  unknown: 'Not settled',
};

/** How grave something is: a word and a shape of its own, so that colour is never alone. */
export function LevelSign(p: { readonly level: Level }): JSX.Element {
  return (
    <span class={`level ${p.level}`}>
      <svg viewBox="0 0 20 20" aria-hidden="true">
        {p.level === 'act' && <path d="M10 1l9 9-9 9-9-9z" />}
        {p.level === 'watch' && <path d="M10 2l9 16H1z" />}
        {p.level === 'info' && <circle cx="10" cy="10" r="7" class="open" />}
        {p.level === 'fine' && <circle cx="10" cy="10" r="8" />}
        {p.level === 'unknown' && <path d="M3 10h14" class="open" />}
      </svg>
      {WORDS[p.level]}
    </span>
  );
}

export function VerdictPart(p: {
  readonly verdict: Verdict;
  readonly onShow: (() => void) | null;
}): JSX.Element {
  const { level, headline, because, next } = p.verdict;
  return (
    <section class={`verdict ${level}`} aria-label="Verdict">
      <LevelSign level={level} />
      <h2>{headline}</h2>
      {because.length > 0 && (
        <ul class="because">
          {because.map((b) => (
            <li key={b}>{b}</li>
          ))}
        </ul>
      )}
      {next !== null && (
        <p class="next">
          <strong>Next:</strong> {next}
        </p>
      )}
      {p.onShow !== null && (
        <Button onPress={p.onShow} label={`Show on the chart: ${headline}`}>
          Show on the chart
        </Button>
      )}
    </section>
  );
}

export function FlagPart(p: { readonly flag: Flag; readonly onShow: (() => void) | null }): JSX.Element {
  const { flag } = p;
  return (
    <li class={`flag ${flag.severity}`}>
      <div class="flag-head">
        <LevelSign level={flag.severity} />
        <h3>{flag.summary}</h3>
      </div>
      {flag.because.length > 0 && (
        <ul class="because">
          {flag.because.map((b) => (
            <li key={b}>{b}</li>
          ))}
        </ul>
      )}
      {flag.next !== null && (
        <p class="next">
          <strong>Next:</strong> {flag.next}
        </p>
      )}
      {p.onShow !== null && (
        <Button onPress={p.onShow} label={`Show on the chart: ${flag.summary}`}>
          Show on the chart
        </Button>
      )}
    </li>
  );
}

/** A table whose rows lead to their place on the chart. */
export function TablePart(p: {
  readonly table: FindingsTable;
  readonly onShow: (place: TimeWindow) => void;
}): JSX.Element {
  const { table } = p;
  return (
    <div class="table-box" role="region" tabIndex={0} aria-label={table.caption}>
      <table>
        <caption>{table.caption}</caption>
        <thead>
          <tr>
            {table.columns.map((c) => (
              <th key={c} scope="col">
                {c}
              </th>
            ))}
          </tr>
        </thead>
        <tbody>
          {table.rows.map((row, i) => (
            <tr key={i}>
              {row.cells.map((cell, j) =>
                j === 0 ? (
                  <th scope="row" key={j}>
                    <button type="button" class="as-link" onClick={() => p.onShow(row.place)}>
                      {cell}
                      <span class="hidden">, show on the chart</span>
                    </button>
                  </th>
                ) : (
                  <td key={j}>{cell}</td>
                ),
              )}
            </tr>
          ))}
        </tbody>
      </table>
    </div>
  );
}
