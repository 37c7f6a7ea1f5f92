import { NightdrawError } from '../messages/errors.ts';

/** A file that was refused: which one, where, and why. `line` is null where no line is to blame. */
export class CsvError extends NightdrawError {
  constructor(
    readonly file: string,
    readonly line: number | null,
    readonly reason: string,
  ) {
    super('unreadable-file', `${file}${line === null ? '' : `, line ${line}`}: ${reason}`);
  }
}

/** A reason inside one field or line; whoever knows file and line turns it into a CsvError. */
export class CsvReason extends Error {
  override readonly name = 'CsvReason';
  constructor(
    message: string,
    /** Whether the present line is to blame, or the file as a whole. */
    readonly blames: 'line' | 'file' = 'line',
  ) {
    super(message);
  }
}
