import type { JSX } from 'preact';
import type { Quantity } from '../../drivers/core/reading.ts';
import { dialOf } from '../state/dial.ts';

export interface DialProps {
  readonly quantity: Quantity;
  readonly value: number | null;
  /** A second, hollow needle: the lowest held. */
  readonly held?: number | null;
  /** Everything below this is shaded: the unreliable zone. */
  readonly zoneBelow?: number | null;
  readonly old?: boolean;
}

const W = 1000;

/**
 * A graduated rule with a needle. It says nothing that the figure above it does not say in digits, so a
 * screen reader skips it.
 */
export function Dial(p: DialProps): JSX.Element | null {
  const { value, held = null, zoneBelow = null } = p;
  const scale = dialOf(p.quantity);
  if (scale === null) return null;
  const x = (v: number): number => 8 + scale.place(v) * (W - 16);
  return (
    <div class={`dial ${scale.quantity}${p.old ? ' old' : ''}`} aria-hidden="true">
      <svg viewBox={`0 0 ${W} 40`} preserveAspectRatio="none">
        {zoneBelow !== null && <rect class="dial-zone" x={0} y={0} width={x(zoneBelow)} height={40} />}
        {scale.ticks.map((t) => {
          const at = 8 + t.at * (W - 16);
          const long = t.label !== null;
          return (
            <line
              key={t.at}
              class={long ? 'dial-tick long' : 'dial-tick'}
              x1={at}
              x2={at}
              y1={40}
              y2={long ? 14 : 26}
            />
          );
        })}
        {held !== null && <line class="dial-held" x1={x(held)} x2={x(held)} y1={6} y2={40} />}
        {value !== null && <line class="dial-needle" x1={x(value)} x2={x(value)} y1={0} y2={40} />}
      </svg>
      <div class="dial-labels">
        {scale.ticks
          .filter((t) => t.label)
          .map((t) => (
            <span key={t.at} style={{ left: `${0.8 + t.at * 98.4}%` }}>
              {t.label}
            </span>
          ))}
      </div>
    </div>
  );
}
