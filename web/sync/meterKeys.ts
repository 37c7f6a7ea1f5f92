import type { Recording } from '../../server/messages/records.ts';
import type { AwaitedMeter } from './api.ts';

/** A meter that this browser has used. */
export interface KnownMeter {
  readonly key: string;
  readonly name: string;
}

/** The key that a browser's own id of a device leads to; ids are base64, keys allow fewer characters. */
export function keyOfDevice(deviceId: string): string {
  const plain = deviceId
    .replaceAll('+', '-')
    .replaceAll('/', '_')
    .replace(/[^\w.-]/g, '');
  return `page:${plain.slice(0, 100) || 'meter'}`;
}

/** Meters that running recordings expect from this browser and that are not connected here. */
export function awaitedMeters(
  running: readonly Recording[],
  known: readonly KnownMeter[],
  connected: ReadonlySet<string>,
): AwaitedMeter[] {
  const awaited: AwaitedMeter[] = [];
  for (const recording of running) {
    for (const { meterKey, meterName } of recording.channels) {
      const mine = known.some((meter) => meter.key === meterKey) && !connected.has(meterKey);
      if (mine && !awaited.some((a) => a.key === meterKey))
        awaited.push({ key: meterKey, name: meterName, recordingId: recording.id });
    }
  }
  return awaited;
}

/**
 * The key under which a chosen device goes on. A browser may give a device a new id after a restart; then
 * the one awaited meter of the same name is taken to be it. Two of one name are not guessed at.
 */
export function keyFor(
  device: { readonly id: string; readonly name: string | null },
  known: readonly KnownMeter[],
  awaited: readonly AwaitedMeter[],
): string {
  const own = keyOfDevice(device.id);
  if (known.some((meter) => meter.key === own)) return own;
  const namesakes = awaited.filter((meter) => meter.name === device.name);
  return namesakes.length === 1 ? namesakes[0]!.key : own;
}
