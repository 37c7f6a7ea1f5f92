/** Numbers of the host controller interface: Bluetooth Core Specification, Vol 4, Part E, 7; H4 framing Part A. */
export const PACKET = { command: 1, acl: 2, event: 4 } as const;

const opcode = (group: number, command: number): number => (group << 10) | command;
export const COMMAND = {
  disconnect: opcode(1, 0x06),
  setEventMask: opcode(3, 0x01),
  reset: opcode(3, 0x03),
  readLeHost: opcode(3, 0x6c),
  writeLeHost: opcode(3, 0x6d),
  readLocalVersion: opcode(4, 0x01),
  readBufferSize: opcode(4, 0x05),
  readAddress: opcode(4, 0x09),
  readRssi: opcode(5, 0x05),
  leSetEventMask: opcode(8, 0x01),
  leReadBufferSize: opcode(8, 0x02),
  leSetScanParameters: opcode(8, 0x0b),
  leSetScanEnable: opcode(8, 0x0c),
  leCreateConnection: opcode(8, 0x0d),
  leCreateConnectionCancel: opcode(8, 0x0e),
} as const;

export const EVENT = {
  disconnectionComplete: 0x05,
  commandComplete: 0x0e,
  commandStatus: 0x0f,
  numberOfCompletedPackets: 0x13,
  leMeta: 0x3e,
} as const;
export const LE_EVENT = { connectionComplete: 0x01, advertisingReport: 0x02 } as const;

/** Vol 1, Part F, 1.3. */
export const STATUS = {
  success: 0x00,
  unknownCommand: 0x01,
  unknownConnection: 0x02,
  supervisionTimeout: 0x08,
  disallowed: 0x0c,
  endedByPeer: 0x13,
  peerLowOnResources: 0x14,
  peerPowersOff: 0x15,
  endedByHost: 0x16,
} as const;

export const ADVERT = { connectable: 0x00, nonConnectable: 0x03, scanResponse: 0x04 } as const;

/** Packet boundary flags of ACL data, and the two fixed channels that matter here. */
export const ACL = { first: 0b00, continuing: 0b01, firstFromController: 0b10 } as const;
export const CHANNEL_ATT = 0x0004;

export function u16(...values: readonly number[]): Buffer {
  const bytes = Buffer.alloc(values.length * 2);
  values.forEach((value, i) => bytes.writeUInt16LE(value, i * 2));
  return bytes;
}

export function event(code: number, parameters: Buffer): Buffer {
  return Buffer.concat([Buffer.from([PACKET.event, code, parameters.length]), parameters]);
}

/** "c0:de:..." to the six bytes in air order, and back. */
export function addressBytes(address: string): Buffer {
  return Buffer.from(address.split(':').reverse().join(''), 'hex');
}

export function addressText(bytes: Buffer): string {
  return Buffer.from(bytes).reverse().toString('hex').match(/../g)!.join(':');
}
