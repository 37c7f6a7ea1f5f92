import type { AttemptOutcome, RecordingEvent } from '../../server/messages/records.ts';

export interface TryAt {
  readonly volts: number;
  readonly outcome: AttemptOutcome;
}

const EVERY_S = 0.1;
const EACH_S = 40;

/**
 * A live watch as an exported CSV: the battery is drawn down or supported between tries, each of which draws 12 A for
 * 0.8 s through 25 mohm.
 */
export function triesCsv(tries: readonly TryAt[], title: string, startedAt: string): string {
  const channel = (key: string, quantity: 'voltage' | 'current', label: string) => ({
    meterKey: 'file:tries',
    meterName: 'Bench meters',
    driver: '',
    key,
    quantity,
    label,
    apertureMs: 100,
  });
  const recording = {
    title,
    startedAt,
    zone: 'Europe/Berlin',
    durationMs: tries.length * EACH_S * 1000,
    provenance: 'made for a test',
    channels: [channel('v', 'voltage', 'Voltage'), channel('i', 'current', 'Current')],
  };
  const lines = ['time_s,voltage_V,current_A,nightdraw', `0,,,${cell({ recording })}`];
  tries.forEach(({ volts, outcome }, i) => {
    const beginS = i * EACH_S;
    const event: RecordingEvent = {
      atMs: (beginS + 22) * 1000,
      kind: 'attempt',
      text: '',
      value: null,
      outcome,
    };
    for (let k = 1; k <= EACH_S / EVERY_S; k++) {
      const at = k * EVERY_S;
      const load = at > 20 && at <= 20.8 ? 12 : 0.03;
      const ripple = ((k * 7) % 5) * 0.0005;
      const row = `${(beginS + at).toFixed(1)},${(volts - 0.025 * load + ripple).toFixed(3)},${load.toFixed(2)},`;
      lines.push(row);
      if (Math.abs(at - 22) < EVERY_S / 2)
        lines.push(`${(event.atMs / 1000).toFixed(1)},,,${cell({ event })}`);
    }
  });
  return `${lines.join('\n')}\n`;
}

function cell(value: unknown): string {
  return `"${JSON.stringify(value).replaceAll('"', '""')}"`;
}
