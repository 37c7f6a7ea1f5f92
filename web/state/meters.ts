import type { Status } from '../../server/messages/http.ts';
import type { Meter } from '../../server/messages/meters.ts';

export type Source = Meter['source'];

/** Meters by where their radio is. Virtual ones are apart, so that nobody takes them for a car. */
export function metersOf(meters: readonly Meter[], source: Source): Meter[] {
  const rank: Record<Meter['state'], number> = {
    connected: 0,
    reconnecting: 1,
    connecting: 2,
    failed: 3,
    seen: 4,
  };
  return meters
    .filter((m) => m.source === source)
    .sort((a, b) => rank[a.state] - rank[b.state] || (b.rssi ?? -999) - (a.rssi ?? -999));
}

export function stateWord(m: Meter): string {
  switch (m.state) {
    case 'seen':
      return 'In range';
    case 'connecting':
      return 'Connecting';
    case 'connected':
      return 'Connected';
    case 'reconnecting':
      return 'Lost, trying again';
    case 'failed':
      return 'Failed';
  }
}

/** Radio strength as one of four words, or null where the radio does not say (dBm, common practice, no source). */
export function signalWord(rssi: number | null): string | null {
  if (rssi === null) return null;
  if (rssi >= -60) return 'strong signal';
  if (rssi >= -75) return 'good signal';
  if (rssi >= -88) return 'weak signal';
  return 'very weak signal';
}

export function isBusy(m: Meter): boolean {
  return m.state === 'connecting';
}

export function isOn(m: Meter): boolean {
  return m.state === 'connected' || m.state === 'reconnecting';
}

/** What the meter measures: "voltage and current". */
export function measuresText(m: Meter): string {
  const names = [...new Set(m.channels.map((c) => c.quantity))];
  if (names.length === 0) return 'not known yet';
  if (names.length === 1) return names[0]!;
  return `${names.slice(0, -1).join(', ')} and ${names[names.length - 1]!}`;
}

export interface WayIn {
  readonly ready: boolean;
  readonly sentence: string;
}

/** Whether the server's own radio can be used, in one sentence. */
export function serverWay(status: Status | null): WayIn {
  if (status === null) return { ready: false, sentence: 'Asking the server.' };
  return { ready: status.bluetooth.state === 'ready', sentence: status.bluetooth.sentence };
}

/** How many of all meters are sending, for the navigation. */
export function connectedCount(meters: readonly Meter[]): number {
  return meters.filter(isOn).length;
}
