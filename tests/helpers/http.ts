import { setTimeout as wait } from 'node:timers/promises';
import { expect } from 'vitest';

/** Looks again and again until there is something to see. */
export async function until<T>(look: () => T | Promise<T>): Promise<NonNullable<T>> {
  for (let i = 0; i < 1500; i++) {
    const found = await look();
    if (found) return found;
    await wait(20);
  }
  throw new Error('It did not come about.');
}

export async function get<T>(url: string): Promise<T> {
  const response = await fetch(url);
  expect(response.status).toBe(200);
  return (await response.json()) as T;
}

export async function post<T>(url: string, body: object = {}): Promise<T> {
  const headers = { 'content-type': 'application/json' };
  const response = await fetch(url, { method: 'POST', body: JSON.stringify(body), headers });
  const answer = (await response.json()) as T;
  expect([response.status < 300, answer]).toEqual([true, answer]);
  return answer;
}
