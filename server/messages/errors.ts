import { z } from 'zod';

/** The closed set of things the server can refuse or fail at, each with its HTTP status and plain sentence. */
export const ERRORS = {
  'bad-request': { status: 400, sentence: 'The request is not in the form this server expects.' },
  'not-found': { status: 404, sentence: 'There is no such thing here.' },
  conflict: { status: 409, sentence: 'That cannot be done in the present state.' },
  'too-large': { status: 413, sentence: 'That is larger than this server accepts.' },
  'unreadable-file': { status: 422, sentence: 'The file cannot be read as a recording.' },
  'origin-refused': { status: 403, sentence: 'Only a page of this server may do that.' },
  'no-bluetooth': {
    status: 503,
    sentence: 'This computer has no Bluetooth adapter that the server can use.',
  },
  'meter-unreachable': { status: 504, sentence: 'The meter does not answer. Is it switched on and near?' },
  'meter-unknown': { status: 422, sentence: 'No driver knows this meter.' },
  'store-full': { status: 507, sentence: 'The disk is full. Free some space; readings wait meanwhile.' },
  'store-failed': { status: 500, sentence: 'The database could not be read or written.' },
  internal: { status: 500, sentence: 'Something went wrong in the server; its log says more.' },
} as const;

export type ErrorCode = keyof typeof ERRORS;
export const ERROR_CODES = Object.keys(ERRORS) as [ErrorCode, ...ErrorCode[]];

/** An error that is meant to be shown: a code of the closed set and one sentence that says what to do. */
export class NightdrawError extends Error {
  override readonly name = 'NightdrawError';
  constructor(
    readonly code: ErrorCode,
    message: string = ERRORS[code].sentence,
  ) {
    super(message);
  }
}

export const errorBodySchema = z.strictObject({ error: z.enum(ERROR_CODES), sentence: z.string() });
export type ErrorBody = z.infer<typeof errorBodySchema>;
