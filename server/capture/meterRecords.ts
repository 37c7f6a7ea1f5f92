import { EMPTY_METER_RECORD, type MeterRecord, type RecordedMeterRecord } from '../messages/meterRecord.ts';
import type { Meter } from '../messages/meters.ts';

/** How a meter is asked and understood. */
export type Asked = Pick<MeterRecord, 'query' | 'unitless'>;

/** The record as a recording keeps it: what nobody filled in is taken from what the meter says of itself. */
export function recordOf(record: MeterRecord | null, { key, details }: Meter): RecordedMeterRecord[] {
  if (record === null && !details) return [];
  const own = record ?? EMPTY_METER_RECORD;
  const said = (part: 'maker' | 'model' | 'serial' | 'firmware') => own[part] || (details?.[part] ?? '');
  return [
    {
      meterKey: key,
      record: {
        ...own,
        maker: said('maker'),
        model: said('model'),
        serial: said('serial'),
        firmware: said('firmware'),
      },
    },
  ];
}

/** What the command line says stands before the record. */
export function askedOf(record: MeterRecord | null, asking: Partial<Asked> | undefined): Asked {
  return {
    query: asking?.query ?? record?.query ?? null,
    unitless: asking?.unitless ?? record?.unitless ?? null,
  };
}
