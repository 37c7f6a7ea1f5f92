import type { JSX } from 'preact';
import type { CurrentScale } from '../state/axis.ts';
import { Choice } from './controls.tsx';

/** Whether small currents get as much room as large ones. */
export function ScaleChoice(p: {
  readonly value: CurrentScale;
  readonly onValue: (scale: CurrentScale) => void;
}): JSX.Element {
  return (
    <Choice
      legend="Scale of the current"
      value={p.value}
      options={[
        { value: 'stretched', label: 'Stretched' },
        { value: 'even', label: 'Even' },
      ]}
      onValue={p.onValue}
    />
  );
}
