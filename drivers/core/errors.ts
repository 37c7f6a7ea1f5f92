/** What can be wrong with bytes that a driver has recognised as its own. */
export type DriverErrorCode =
  | 'wrong-length'
  | 'bad-field'
  | 'unsupported-format'
  | 'unknown-characteristic'
  | 'key-needed' // encrypted, and no key is known
  | 'not-authentic'; // wrong key, altered, replayed, or plain where it must be encrypted

/** "Mine, but broken": a driver throws this and nothing else. */
export class DriverError extends Error {
  override readonly name = 'DriverError';
  constructor(
    readonly code: DriverErrorCode,
    message: string,
  ) {
    super(message);
  }
}

/** What can go wrong between us and a meter, whatever the radio library. */
export type LinkErrorCode =
  | 'no-bluetooth' // no radio library, no adapter, or adapter switched off
  | 'not-allowed' // the operating system or the person refused
  | 'not-found' // the meter is not in range, or nothing was chosen
  | 'timed-out'
  | 'dropped' // the connection ended
  | 'refused' // the meter refused the operation
  | 'aborted'
  | 'unsupported' // this link cannot do it
  | 'link-died'; // the process that holds the radio stopped answering

export class LinkError extends Error {
  override readonly name = 'LinkError';
  constructor(
    readonly code: LinkErrorCode,
    message: string,
  ) {
    super(message);
  }
}
