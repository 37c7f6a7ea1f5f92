import { createWriteStream } from 'node:fs';
import { mkdir, mkdtemp, rm } from 'node:fs/promises';
import path from 'node:path';
import { pipeline } from 'node:stream/promises';
import express, { type Request, type RequestHandler } from 'express';
import { NightdrawError } from '../messages/errors.ts';

/** A JSON body of at most so many bytes. */
export function jsonBody(limit: number): RequestHandler[] {
  return [declaredAtMost(limit), express.json({ limit })];
}

/** A body of whatever type as its bytes; without unpacking, which is for whoever knows how large it may get. */
export function rawBody(limit: number): RequestHandler[] {
  return [declaredAtMost(limit), express.raw({ type: () => true, limit, inflate: false })];
}

/**
 * Runs `work` on a body of whatever type as a file in `folder`, so that its size is no matter of memory.
 * @throws NightdrawError too-large, store-full
 */
export async function bodyAsFile<T>(
  request: Request,
  folder: string,
  limit: number,
  work: (file: string, length: number) => T,
): Promise<T> {
  const tooLarge = new NightdrawError('too-large');
  if (declaredLength(request) > limit) {
    request.res?.set('Connection', 'close');
    throw tooLarge;
  }
  await mkdir(folder, { recursive: true });
  const own = await mkdtemp(path.join(folder, 'incoming-'));
  const file = path.join(own, 'body');
  try {
    let length = 0;
    const counted = async function* (pieces: AsyncIterable<Buffer>) {
      for await (const piece of pieces) {
        length += piece.length;
        if (length <= limit) yield piece;
      }
    };
    await pipeline(request, counted, createWriteStream(file));
    if (length > limit) throw tooLarge;
    return work(file, length);
  } catch (error) {
    throw (error as { code?: string }).code === 'ENOSPC' ? new NightdrawError('store-full') : error;
  } finally {
    await rm(own, { recursive: true, force: true });
  }
}

function declaredLength(request: Request): number {
  return Number(request.headers['content-length'] ?? 0);
}

/** The parsers read a body to its end even when they refuse it; what says beforehand that it is too large is not read. */
function declaredAtMost(limit: number): RequestHandler {
  return (request, response, next) => {
    if (declaredLength(request) <= limit) return next();
    response.set('Connection', 'close');
    next(new NightdrawError('too-large'));
  };
}
