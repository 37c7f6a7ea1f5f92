import { expect } from 'vitest';
import { errorBodySchema } from '../../server/messages/errors.ts';
import type { Asking, WebBench } from './webBench.ts';

/** The body of an answer that must have this status. */
export async function ok<T>(answer: ReturnType<WebBench['ask']>, status = 200): Promise<T> {
  const { status: got, json } = await answer;
  expect([got, got === status ? null : json()]).toEqual([status, null]);
  return json<T>();
}

/** Status and code of a refusal, which must be in its form. */
export async function refused(bench: WebBench, path: string, asking: Asking = {}): Promise<[number, string]> {
  const answer = await bench.ask(path, asking);
  return [answer.status, errorBodySchema.parse(answer.json()).error];
}
