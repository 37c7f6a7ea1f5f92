export function fromHex(hex: string): Uint8Array {
  return Uint8Array.from(Buffer.from(hex.replaceAll(' ', ''), 'hex'));
}

export function toHex(bytes: Uint8Array): string {
  return Buffer.from(bytes).toString('hex');
}
