import express, { type RequestHandler } from 'express';
import { NightdrawError } from '../messages/errors.ts';

/** A JSON body of at most so many bytes. */
export function jsonBody(limit: number): RequestHandler[] {
  return [declaredAtMost(limit), express.json({ limit })];
}

/** A body of whatever type as its bytes; without unpacking, which is for whoever knows how large it may get. */
export function rawBody(limit: number): RequestHandler[] {
  return [declaredAtMost(limit), express.raw({ type: () => true, limit, inflate: false })];
}

/** The parsers read a body to its end even when they refuse it; what says beforehand that it is too large is not read. */
function declaredAtMost(limit: number): RequestHandler {
  return (request, response, next) => {
    if (Number(request.headers['content-length'] ?? 0) <= limit) return next();
    response.set('Connection', 'close');
    next(new NightdrawError('too-large'));
  };
}
