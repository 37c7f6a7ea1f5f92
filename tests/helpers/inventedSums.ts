/** The checksums of invented meters, written apart from those that the program looks for. */
export function sumOf(kind: string, octets: readonly number[]): number {
  const total = octets.reduce((a, b) => a + b, 0);
  switch (kind) {
    case 'sum':
      return total % 256;
    case 'sum-inverted':
      return (256 - (total % 256)) % 256;
    case 'sum16':
      return total % 65536;
    case 'xor':
      return octets.reduce((a, b) => a ^ b, 0);
    case 'crc8':
      return divide(octets, '100000111', false, '0', '0');
    case 'crc8-maxim':
      return divide(octets, '100110001', true, '0', '0');
    case 'crc-modbus':
      return divide(octets, '11000000000000101', true, '1', '0');
    case 'crc-ccitt':
      return divide(octets, '10001000000100001', false, '1', '0');
    case 'crc-xmodem':
      return divide(octets, '10001000000100001', false, '0', '0');
    default:
      return 0;
  }
}

/** A CRC as the long division that it is, on strings of bits. */
function divide(
  octets: readonly number[],
  generator: string,
  reflected: boolean,
  first: string,
  last: string,
): number {
  const width = generator.length - 1;
  const turn = (b: string) => (reflected ? [...b].reverse().join('') : b);
  const message = octets.map((o) => turn(o.toString(2).padStart(8, '0'))).join('') + '0'.repeat(width);
  const bits = [...message].map(Number);
  // A start value of ones is the message's first bits inverted.
  if (first === '1') for (let i = 0; i < width; i++) bits[i]! ^= 1;
  for (let i = 0; i + width < bits.length; i++) {
    if (!bits[i]) continue;
    for (let j = 0; j <= width; j++) bits[i + j]! ^= Number(generator[j]);
  }
  let rest = turn(bits.slice(-width).join(''));
  if (last === '1') rest = [...rest].map((b) => (b === '1' ? '0' : '1')).join('');
  return parseInt(rest, 2);
}
