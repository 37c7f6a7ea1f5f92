import type { ErrorRequestHandler } from 'express';
import { z } from 'zod';
import { ERRORS, NightdrawError, type ErrorBody, type ErrorCode } from '../messages/errors.ts';

/** Turns whatever was thrown into an error of the closed set. */
export function failureOf(error: unknown): NightdrawError {
  if (error instanceof NightdrawError) return error;
  if (error instanceof z.ZodError) return new NightdrawError('bad-request', sentenceOf(error));
  const { status, type } = (error ?? {}) as { status?: number; type?: string };
  if (status === 413) return new NightdrawError('too-large');
  if (type === 'entity.parse.failed')
    return new NightdrawError('bad-request', 'The body is not well-formed JSON.');
  if (status !== undefined && status >= 400 && status < 500) return new NightdrawError('bad-request');
  return new NightdrawError('internal');
}

const OWN_FAULTS = new Set<ErrorCode>(['internal', 'store-failed']);

/** The one place where errors become answers. `log` gets those that are our own fault. */
export function errorHandler(log: (line: string) => void): ErrorRequestHandler {
  return (error: unknown, request, response, _next) => {
    const failure = failureOf(error);
    // The other side may go away in the middle of an answer: no fault of ours, and nobody is left to be told.
    const left = (error as { code?: string }).code === 'ERR_STREAM_PREMATURE_CLOSE';
    if (!left && OWN_FAULTS.has(failure.code)) log(`${request.method} ${request.path}: ${traceOf(error)}`);
    if (response.headersSent) return void response.destroy();
    const body: ErrorBody = { error: failure.code, sentence: failure.message };
    response.status(ERRORS[failure.code].status).json(body);
  };
}

/** Names the first field that is wrong, and why. */
function sentenceOf(error: z.ZodError): string {
  const issue = error.issues[0];
  if (issue === undefined) return ERRORS['bad-request'].sentence;
  const where = issue.path.length === 0 ? '' : `${issue.path.map(String).join('.')}: `;
  return `${ERRORS['bad-request'].sentence} ${where}${issue.message}.`.slice(0, 400);
}

function traceOf(error: unknown): string {
  return error instanceof Error ? (error.stack ?? error.message) : String(error);
}
