import { heldZeroCheckListSchema, type HeldZeroCheck } from '../../server/messages/zeroCheck.ts';
import {
  keptMeterRecordListSchema,
  keptMeterRecordSchema,
  type KeptMeterRecord,
  type MeterRecord,
} from '../../server/messages/meterRecord.ts';
import { bindKeyListSchema, vendorServicesSchema } from '../../server/messages/meterSettings.ts';
import {
  taughtMeterListSchema,
  taughtMeterSchema,
  type MeterDescription,
  type TaughtMeter,
} from '../../server/messages/taughtMeters.ts';
import type { Api, Schema } from './api.ts';

/** The routes of what is known of meters beyond their readings. */
export interface MeterApi {
  /** Null where none was written. */
  record(meterKey: string): Promise<MeterRecord | null>;
  writeRecord(meterKey: string, record: MeterRecord): Promise<KeptMeterRecord>;
  /** Listens for so many seconds; for the next recording, or one that is stopped. */
  checkZero(meterKey: string, seconds: number, recordingId: string | null): Promise<HeldZeroCheck[]>;
  heldZeroChecks(): Promise<HeldZeroCheck[]>;
  /** Addresses of the meters that have a key. */
  bindKeys(): Promise<string[]>;
  /** Null takes it away. */
  writeBindKey(meterKey: string, key: string | null): Promise<string[]>;
  taught(): Promise<TaughtMeter[]>;
  addTaught(description: MeterDescription): Promise<TaughtMeter>;
  deleteTaught(id: string): Promise<unknown>;
  vendorServices(): Promise<string[]>;
  writeVendorServices(services: readonly string[]): Promise<string[]>;
}

const NOTHING: Schema<undefined> = { safeParse: () => ({ success: true, data: undefined }) };
const at = encodeURIComponent;

export function meterApi({ ask }: Pick<Api, 'ask'>): MeterApi {
  return {
    record: async (key) =>
      (await ask('GET', 'meters/records', keptMeterRecordListSchema)).find((r) => r.meterKey === key)
        ?.record ?? null,
    writeRecord: (key, record) => ask('PUT', `meters/${at(key)}/record`, keptMeterRecordSchema, record),
    checkZero: (key, seconds, recordingId) =>
      ask('POST', `meters/${at(key)}/zero-check`, heldZeroCheckListSchema, { seconds, recordingId }),
    heldZeroChecks: () => ask('GET', 'meters/zero-checks', heldZeroCheckListSchema),
    bindKeys: () => ask('GET', 'meters/bind-keys', bindKeyListSchema),
    writeBindKey: (meterKey, key) =>
      ask('PUT', `meters/${at(meterKey)}/bind-key`, bindKeyListSchema, { key }),
    taught: () => ask('GET', 'taught-meters', taughtMeterListSchema),
    addTaught: (description) => ask('POST', 'taught-meters', taughtMeterSchema, description),
    deleteTaught: (id) => ask('DELETE', `taught-meters/${at(id)}`, NOTHING),
    vendorServices: () => ask('GET', 'taught-meters/vendor-services', vendorServicesSchema),
    writeVendorServices: (services) =>
      ask('PUT', 'taught-meters/vendor-services', vendorServicesSchema, services),
  };
}
