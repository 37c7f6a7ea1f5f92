import { PREFLIGHT_ITEMS } from '../messages/checklist.ts';
import { durationText } from '../messages/figures.ts';
import type { Certificate, MeterRecord } from '../messages/meterRecord.ts';
import { UNIT, type Quantity } from '../../drivers/core/reading.ts';
import type { ZeroCheck } from '../messages/zeroCheck.ts';
import { timeText } from './about.ts';
import type { ReportInput } from './input.ts';
import type { Section } from './model.ts';

/** How it was measured: channels, what is known of their meters, zero checks, the checklist. */

export function measuredSection(input: ReportInput): Section {
  const { recording, findings, meters } = input;
  const channels = recording.channels.map((c, k) => [
    c.label === '' ? c.quantity : c.label,
    [
      c.meterName,
      c.driver === '' ? '' : `driver ${c.driver}`,
      `${c.samples} readings`,
      intervalText(findings.recording.channels[k]?.medianIntervalS ?? null),
      c.apertureMs === null ? 'averaging time not stated' : `each averaged over ${c.apertureMs} ms`,
    ]
      .filter(Boolean)
      .join(', '),
  ]);
  const about = meters.flatMap(({ meterKey, record }) => {
    const channel = recording.channels.find((c) => c.meterKey === meterKey);
    const text = recordText(record);
    return text === '' ? [] : [[record.name || channel?.meterName || 'Meter', text]];
  });
  const zeros = input.zeroChecks.map((z) => [zeroName(z), zeroText(z, recording.zone)]);
  return {
    title: 'How it was measured',
    paragraphs: [recording.provenance].filter(Boolean),
    facts: [...channels, ...about, ...zeros],
    bullets: zeros.length > 0 ? [] : ['The zero of the meters was not checked in this recording.'],
  };
}

/** Ticks with their times, what was left open, and what the page found by itself. */
export function checklistSection({ checklist, recording }: ReportInput): Section {
  const title = 'Checked before the night';
  if (checklist === null) return { title, paragraphs: [], facts: [], bullets: [] };
  const ticked = PREFLIGHT_ITEMS.map(({ id, what }) => {
    const tick = checklist.ticks.find((t) => t.id === id);
    return [tick === undefined ? 'left open' : timeText(tick.at, recording.zone), what];
  });
  return {
    title,
    paragraphs: [],
    facts: ticked,
    bullets: checklist.found.map(({ text, verdict }) => `${text} (${VERDICT_WORDS[verdict]}).`),
  };
}

const VERDICT_WORDS = { fine: 'in order', poor: 'not good enough', 'not-known': 'not known' } as const;

function recordText(r: MeterRecord): string {
  return [
    [r.maker, r.model].filter(Boolean).join(' '),
    r.serial === '' ? '' : `serial ${r.serial}`,
    r.firmware === '' ? '' : `firmware ${r.firmware}`,
    ...r.accuracy.map(
      (a) =>
        `${a.quantity} up to ${a.upTo} ${unitOf(a.quantity)}: ±(${a.percent} % of reading + ${a.digits} digits)`,
    ),
    r.calibration === null ? '' : certificateText(r.calibration),
  ]
    .filter(Boolean)
    .join('; ');
}

function certificateText({ number, date, laboratory, lines }: Certificate): string {
  const stated = lines.map((l) => {
    const found = [l.asFound && `as found ${l.asFound}`, l.asLeft && `as left ${l.asLeft}`].filter(Boolean);
    const u = `${l.quantity} ±(${l.fixed} ${unitOf(l.quantity)} + ${l.percent} %), k = ${l.k}`;
    return [u, ...found].join(', ');
  });
  return [`calibrated ${date}, certificate ${number}`, laboratory, ...stated].filter(Boolean).join(', ');
}

function zeroName(z: ZeroCheck): string {
  return z.atMs < 0 ? `Zero before, ${z.quantity}` : `Zero after, ${z.quantity}`;
}

function zeroText(z: ZeroCheck, zone: string | null): string {
  const [factor, unit] =
    z.quantity === 'current'
      ? [1000, 'mA']
      : z.quantity === 'voltage'
        ? [1000, 'mV']
        : [1, unitOf(z.quantity)];
  const text = (x: number, digits: number) => `${(x * factor).toFixed(digits)} ${unit}`;
  return (
    `${text(z.mean, 2)}, known to ±${text(2 * z.standardUncertainty, 2)} (k = 2), ` +
    `${z.readings} readings over ${durationText(z.durationMs / 1000)}, ${timeText(z.takenAt, zone)}`
  );
}

function unitOf(quantity: Quantity): string {
  return quantity === 'temperature' ? '°C' : UNIT[quantity];
}

function intervalText(s: number | null): string {
  return s === null ? '' : `one every ${durationText(s)}`;
}
