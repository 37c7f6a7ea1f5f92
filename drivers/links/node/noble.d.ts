/**
 * The part of the library that this room uses, declared here because the library is optional: the project
 * compiles without it. `addService`, `addCharacteristics` and the two "…Discovered" events exist only where
 * the library drives the controller itself (Linux, FreeBSD, USB).
 */
declare module '@abandonware/noble' {
  import type { EventEmitter } from 'node:events';

  export interface RawService {
    readonly uuid: string;
    readonly startHandle: number;
    readonly endHandle: number;
  }

  export interface RawCharacteristic {
    readonly uuid: string;
    readonly properties: number;
    readonly startHandle: number;
    readonly valueHandle: number;
    readonly endHandle: number;
  }

  export interface Descriptor {
    readonly uuid: string;
    readValueAsync(): Promise<Buffer>;
  }

  export interface Characteristic extends EventEmitter {
    readonly uuid: string;
    readonly properties: readonly string[];
    readAsync(): Promise<Buffer>;
    writeAsync(data: Buffer, withoutResponse: boolean): Promise<void>;
    subscribeAsync(): Promise<void>;
    discoverDescriptorsAsync(): Promise<Descriptor[]>;
  }

  export interface Service extends EventEmitter {
    readonly uuid: string;
    discoverCharacteristicsAsync(uuids: string[]): Promise<Characteristic[]>;
  }

  export interface Peripheral extends EventEmitter {
    readonly id: string;
    readonly address: string;
    readonly rssi: number;
    readonly mtu: number | null;
    readonly state: 'error' | 'connecting' | 'connected' | 'disconnecting' | 'disconnected';
    readonly advertisement: {
      readonly localName?: string;
      readonly serviceUuids?: readonly string[];
      readonly serviceData?: readonly { readonly uuid: string; readonly data: Buffer }[];
    };
    connectAsync(parameters: { readonly timeout: number }): Promise<void>;
    cancelConnect(): void;
    disconnectAsync(): Promise<void>;
    discoverServicesAsync(uuids: string[]): Promise<Service[]>;
  }

  export interface Noble extends EventEmitter {
    startScanningAsync(uuids: string[], allowDuplicates: boolean): Promise<void>;
    stopScanningAsync(): Promise<void>;
    addService(peripheralId: string, service: RawService): Service;
    addCharacteristics(
      peripheralId: string,
      serviceUuid: string,
      characteristics: readonly RawCharacteristic[],
    ): Characteristic[];
    /** The layer below, where it is the library's own: its idea of each link's MTU can be put right. */
    readonly _bindings?: { readonly _gatts?: Readonly<Record<string, { _mtu: number } | undefined>> };
  }

  const noble: Noble;
  export default noble;
}
