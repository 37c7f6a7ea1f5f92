import type { NightInput } from '../../server/analysis/input.ts';
import type { KeptNight } from '../../server/analysis/night.ts';
import { columnsOf, type SampleColumns } from '../../server/samples/columns.ts';

const SCALE = -4;

/** Readings as they would be kept: whole milliseconds, a last digit of 0.1 mA or 0.1 mV. */
export function keptColumns({ t, y }: { readonly t: Float64Array; readonly y: Float64Array }): SampleColumns {
  return columnsOf(
    t.map((s) => Math.round(1000 * s)),
    y.map((v) => Math.round(v / 10 ** SCALE)),
    new Int8Array(t.length).fill(SCALE),
    new Uint16Array(t.length),
  );
}

/** A made-up night as a recording that is kept. */
export function keptNight(input: NightInput): KeptNight {
  return {
    startedAt: input.startedAt,
    durationMs: 1000 * input.durationS!,
    channels: input.channels.map((c) => ({
      channel: { quantity: c.quantity, apertureMs: c.apertureS === null ? null : 1000 * c.apertureS },
      columns: keptColumns(c),
      gaps: c.gaps.map((g) => ({ startMs: 1000 * g.startS, endMs: 1000 * g.endS })),
    })),
    events: [],
  };
}
