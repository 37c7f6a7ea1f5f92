import type { Cancel, Clock } from '../../drivers/core/clock.ts';
import { UNIT } from '../../drivers/core/reading.ts';
import type { Hub } from '../capture/hub.ts';
import type { CommandContext } from './command.ts';

const SHOW_EVERY_MS = 500;

export interface Progress {
  readonly context: CommandContext;
  readonly hub: Hub;
  readonly clock: Clock;
  readonly id: string;
  readonly seconds: number | null;
}

/** One line on the terminal that says how far the recording has come and what the meters show. */
export function showProgress({ context, hub, clock, id, seconds }: Progress): Cancel {
  const beganMs = clock.nowMs();
  const show = () => {
    const shown = hub
      .lastReadings()
      .flatMap((r) => r.channels.map((c) => `${c.text === '' ? '-' : c.text} ${UNIT[c.quantity]}`));
    const total = seconds === null ? '; Ctrl-C stops it' : ` of ${hms(seconds)}`;
    const elapsed = hms((clock.nowMs() - beganMs) / 1000);
    context.stderr(`\r\u001b[KRecording ${id}: ${elapsed}${total}  ${shown.join('  ')}`);
  };
  const timer = setInterval(show, SHOW_EVERY_MS);
  show();
  return () => {
    clearInterval(timer);
    show();
    context.stderr('\n');
  };
}

function hms(seconds: number): string {
  const whole = Math.floor(seconds);
  const two = (n: number) => String(n).padStart(2, '0');
  return `${two(Math.floor(whole / 3600))}:${two(Math.floor(whole / 60) % 60)}:${two(whole % 60)}`;
}
