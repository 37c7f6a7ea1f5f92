import { LinkError } from '../../core/errors.ts';

/** Why this computer's own radio cannot be used: a closed set, each with one sentence that says what to do. */
export const UNAVAILABLE_REASONS = [
  'library-missing',
  'no-adapter',
  'adapter-off',
  'not-allowed',
  'no-bluetooth-support',
  'not-answering',
] as const;
export type UnavailableReason = (typeof UNAVAILABLE_REASONS)[number];

export interface BluetoothStatus {
  readonly state: 'ready' | 'starting' | 'unavailable';
  readonly reason: UnavailableReason | null;
  readonly sentence: string;
}

export const READY: BluetoothStatus = {
  state: 'ready',
  reason: null,
  sentence: "This computer's Bluetooth is ready.",
};
export const STARTING: BluetoothStatus = {
  state: 'starting',
  reason: null,
  sentence: "This computer's Bluetooth is starting.",
};

export function unavailable(reason: UnavailableReason, platform: NodeJS.Platform): BluetoothStatus {
  return { state: 'unavailable', reason, sentence: sentenceFor(reason, platform) };
}

/** What a request comes to while the radio cannot be used. */
export function problemOf({ reason, sentence }: BluetoothStatus): LinkError {
  if (reason === 'not-allowed') return new LinkError('not-allowed', sentence);
  return new LinkError(reason === 'not-answering' ? 'link-died' : 'no-bluetooth', sentence);
}

function sentenceFor(reason: UnavailableReason, platform: NodeJS.Platform): string {
  switch (reason) {
    case 'library-missing':
      return platform === 'linux'
        ? 'The Bluetooth library is not installed: install gcc, make and python3, run "npm ci" again and look for meters once more, or connect the meter in the browser.'
        : 'The Bluetooth library is not installed: install the build tools that Node.js names for this system, run "npm ci" again and look for meters once more, or connect the meter in the browser.';
    case 'no-adapter':
      return 'This computer has no Bluetooth Low Energy adapter: plug one in and look for meters again, or connect the meter in the browser of a device that has one.';
    case 'adapter-off':
      return platform === 'linux'
        ? 'The Bluetooth adapter is switched off: switch it on, for example with "rfkill unblock bluetooth" and "bluetoothctl power on".'
        : "The Bluetooth adapter is switched off: switch it on in the system's settings.";
    case 'not-allowed':
      return platform === 'linux'
        ? 'This program may not use the Bluetooth adapter: run "sudo setcap cap_net_raw+eip $(readlink -f $(which node))" once, then start it again.'
        : "This program may not use Bluetooth: allow it in the system's privacy settings, then start it again.";
    case 'no-bluetooth-support':
      return 'This system has no Bluetooth support, as is usual in containers and virtual machines: run Nightdraw on the computer itself, or connect the meter in the browser.';
    case 'not-answering':
      return 'The Bluetooth adapter does not answer: unplug it and plug it in again, or restart the computer.';
  }
}
