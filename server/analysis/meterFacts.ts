import type { Channel } from '../messages/records.ts';
import type { RecordedMeterRecord } from '../messages/meterRecord.ts';
import type { ZeroCheck } from '../messages/zeroCheck.ts';
import type { ChannelInput } from './input.ts';

/** What is known of a recording's meters beyond their readings. */
export interface MeterFacts {
  readonly meters: readonly RecordedMeterRecord[];
  readonly zeroChecks: readonly ZeroCheck[];
}

type FactsOfChannel = Pick<
  ChannelInput,
  'resolution' | 'apertureS' | 'ranges' | 'zeroChecks' | 'calibration'
>;

/** Data sheet, certificate and zero checks of one channel, as the analysis takes them. */
export function factsOfChannel(
  channel: Pick<Channel, 'quantity' | 'apertureMs'> & Partial<Pick<Channel, 'meterKey' | 'key' | 'step'>>,
  { meters, zeroChecks }: MeterFacts,
): FactsOfChannel {
  const { quantity, meterKey } = channel;
  const record = meters.find((m) => m.meterKey === meterKey)?.record;
  const line = record?.calibration?.lines.find((l) => l.quantity === quantity);
  const apertureMs = channel.apertureMs ?? record?.apertureMs ?? null;
  const ranges = (record?.accuracy ?? [])
    .filter((range) => range.quantity === quantity)
    .sort((a, b) => a.upTo - b.upTo)
    .map(({ upTo, percent, digits, digit }) => ({ upTo, accuracy: { percent, digits }, digit }));
  const checks = zeroChecks
    .filter((check) => check.meterKey === meterKey && check.key === channel.key)
    .map(({ atMs, mean, standardUncertainty }) => ({ atS: atMs / 1000, value: mean, standardUncertainty }));
  return {
    resolution: channel.step ?? null,
    apertureS: apertureMs === null ? null : apertureMs / 1000,
    ...(ranges.length > 0 && { ranges }),
    ...(checks.length > 0 && { zeroChecks: checks }),
    ...(line && { calibration: { fixed: line.fixed / line.k, relative: line.percent / 100 / line.k } }),
  };
}
