import { ERRORS, errorBodySchema, type ErrorCode } from '../../server/messages/errors.ts';
import { findingsSchema, type AnalysisOptions, type Findings } from '../../server/messages/findings.ts';
import {
  caseListSchema,
  meterListSchema,
  recordingDetailSchema,
  recordingListSchema,
  statusSchema,
  type RecordingDetail,
  type StartRecording,
  type AddEvent,
  type Status,
} from '../../server/messages/http.ts';
import type { Meter } from '../../server/messages/meters.ts';
import { pulsesSchema, type Pulses, type PulsesQuery } from '../../server/messages/pulses.ts';
import {
  caseSchema,
  eventSchema,
  recordingSchema,
  type Case,
  type CaseInput,
  type Recording,
  type RecordingEvent,
} from '../../server/messages/records.ts';
import { decodeZoom, type Zoom } from '../../server/messages/zoom.ts';
import { ownKeySchema, sealStateSchema, type SealState } from '../../server/messages/seal.ts';

export interface HttpReply {
  readonly ok: boolean;
  readonly status: number;
  text(): Promise<string>;
  arrayBuffer(): Promise<ArrayBuffer>;
}

/** What stops a request that nobody waits for any more: an AbortSignal, which this room cannot name. */
export type CancelSignal = unknown;

/** The part of `fetch` that is used here, so that this room needs no network. */
export type FetchLike = (
  path: string,
  init?: {
    readonly method?: string;
    readonly headers?: Record<string, string>;
    readonly body?: string | Uint8Array<ArrayBuffer>;
    readonly signal?: CancelSignal;
  },
) => Promise<HttpReply>;

/** Why a request came to nothing, in a sentence that can be shown. */
export class ApiError extends Error {
  override readonly name = 'ApiError';
  constructor(
    readonly code: ErrorCode | 'unreachable' | 'not-understood',
    message: string,
  ) {
    super(message);
  }
}

/** A zod schema, as far as it is used here. */
export interface Schema<T> {
  safeParse(value: unknown): { success: true; data: T } | { success: false };
}

export interface ChartWindow {
  readonly fromS?: number;
  readonly toS?: number;
  readonly buckets: number;
}

export interface Api {
  status(): Promise<Status>;
  listCases(): Promise<Case[]>;
  getCase(id: string): Promise<Case>;
  createCase(input: CaseInput): Promise<Case>;
  updateCase(id: string, input: CaseInput): Promise<Case>;
  deleteCase(id: string): Promise<void>;
  /** Newest first, of one case or of all. */
  listRecordings(caseId?: string): Promise<Recording[]>;
  getRecording(id: string): Promise<RecordingDetail>;
  startRecording(start: StartRecording): Promise<Recording>;
  stopRecording(id: string): Promise<Recording>;
  moveRecording(id: string, caseId: string | null): Promise<Recording>;
  deleteRecording(id: string): Promise<void>;
  addEvent(id: string, event: AddEvent): Promise<RecordingEvent>;
  /** Extremes of all channels; `signal` gives it up. */
  zoom(id: string, window: ChartWindow, signal?: CancelSignal): Promise<Zoom>;
  /** A polling regime from nearby. */
  pulses(id: string, query: PulsesQuery): Promise<Pulses>;
  findings(id: string, options?: AnalysisOptions): Promise<Findings>;
  /** Whether the recording is still as it was sealed, and which bundles were made of it. */
  sealState(id: string): Promise<SealState>;
  /** Fingerprint of the key that signs on the server's computer. */
  ownKey(): Promise<string>;
  /** The bytes of a CSV file, plain or gz. */
  importCsv(name: string, bytes: Uint8Array<ArrayBuffer>, caseId: string | null): Promise<Recording>;
  listMeters(): Promise<Meter[]>;
  scan(seconds: number): Promise<void>;
  connectMeter(key: string): Promise<void>;
  disconnectMeter(key: string): Promise<void>;
  virtualCar(action: 'start' | 'stop' | 'touch-handle' | 'wake'): Promise<void>;
  /** Any other route under /api whose reply fits the schema. */
  ask<T>(
    method: 'GET' | 'POST' | 'PUT' | 'DELETE',
    path: string,
    schema: Schema<T>,
    body?: unknown,
  ): Promise<T>;
}

/** Where a recording's table of readings can be downloaded. */
export function csvPath(recordingId: string): string {
  return `/api/recordings/${recordingId}/samples.csv`;
}

export function queryText(query: Readonly<Record<string, string | number | null | undefined>>): string {
  const parts = Object.entries(query)
    .filter(([, v]) => v !== undefined && v !== null && v !== '')
    .map(([k, v]) => `${encodeURIComponent(k)}=${encodeURIComponent(String(v))}`);
  return parts.length === 0 ? '' : `?${parts.join('&')}`;
}

/** The server's routes as functions; every reply is checked against its schema before anyone sees it. */
export function createApi(fetchLike: FetchLike): Api {
  const send = async (method: string, path: string, body?: unknown): Promise<unknown> => {
    const init =
      body === undefined
        ? { method }
        : body instanceof Uint8Array
          ? {
              method,
              body: body as Uint8Array<ArrayBuffer>,
              headers: { 'content-type': 'application/octet-stream' },
            }
          : { method, body: JSON.stringify(body), headers: { 'content-type': 'application/json' } };
    const reply = await reach(() => fetchLike(path, init));
    const value = parseJson(await reach(() => reply.text()));
    if (!reply.ok) throw refusal(reply.status, value);
    return value;
  };
  const get = <T>(path: string, schema: Schema<T>): Promise<T> =>
    send('GET', path).then((v) => understood(v, schema));
  const post = <T>(path: string, schema: Schema<T>, body?: unknown): Promise<T> =>
    send('POST', path, body).then((v) => understood(v, schema));
  const tell = (method: string, path: string, body?: unknown): Promise<void> =>
    send(method, path, body).then(() => undefined);
  const at = encodeURIComponent;

  return {
    status: () => get('/api/status', statusSchema),
    listCases: () => get('/api/cases', caseListSchema),
    getCase: (id) => get(`/api/cases/${at(id)}`, caseSchema),
    createCase: (input) => post('/api/cases', caseSchema, input),
    updateCase: (id, input) =>
      send('PUT', `/api/cases/${at(id)}`, input).then((v) => understood(v, caseSchema)),
    deleteCase: (id) => tell('DELETE', `/api/cases/${at(id)}`),
    listRecordings: (caseId) =>
      get(`/api/recordings${queryText({ case: caseId })}`, recordingListSchema).then(newestFirst),
    getRecording: (id) => get(`/api/recordings/${at(id)}`, recordingDetailSchema),
    startRecording: (start) => post('/api/recordings', recordingSchema, start),
    stopRecording: (id) => post(`/api/recordings/${at(id)}/stop`, recordingSchema, {}),
    moveRecording: (id, caseId) =>
      send('PATCH', `/api/recordings/${at(id)}`, { caseId }).then((v) => understood(v, recordingSchema)),
    deleteRecording: (id) => tell('DELETE', `/api/recordings/${at(id)}`),
    addEvent: (id, event) => post(`/api/recordings/${at(id)}/events`, eventSchema, event),
    zoom: async (id, { fromS, toS, buckets }, signal) => {
      const path = `/api/recordings/${at(id)}/zoom${queryText({ fromS, toS, buckets })}`;
      const reply = await reach(() => fetchLike(path, { method: 'GET', signal }));
      if (!reply.ok) throw refusal(reply.status, parseJson(await reach(() => reply.text())));
      return pictureOf(await reach(() => reply.arrayBuffer()));
    },
    pulses: (id, query) => get(`/api/recordings/${at(id)}/pulses${queryText(query)}`, pulsesSchema),
    findings: (id, options = {}) =>
      get(`/api/recordings/${at(id)}/findings${queryText(options)}`, findingsSchema),
    ownKey: async () => (await get('/api/key', ownKeySchema)).fingerprint,
    sealState: (id) => get(`/api/recordings/${at(id)}/seal`, sealStateSchema),
    importCsv: (name, bytes, caseId) =>
      post(`/api/import${queryText({ name, case: caseId })}`, recordingSchema, bytes),
    listMeters: () => get('/api/meters', meterListSchema),
    scan: (seconds) => tell('POST', '/api/meters/scan', { seconds }),
    connectMeter: (key) => tell('POST', `/api/meters/${at(key)}/connect`, {}),
    disconnectMeter: (key) => tell('POST', `/api/meters/${at(key)}/disconnect`, {}),
    virtualCar: (action) => tell('POST', '/api/virtual-car', { action }),
    ask: (method, path, schema, body) =>
      send(method, `/api/${path}`, body).then((v) => understood(v, schema)),
  };
}

/** Whatever breaks on the way means that the server was not reached. */
async function reach<T>(ask: () => Promise<T>): Promise<T> {
  try {
    return await ask();
  } catch {
    throw unreachable();
  }
}

function pictureOf(bytes: ArrayBuffer): Zoom {
  try {
    return decodeZoom(new Uint8Array(bytes));
  } catch {
    throw notUnderstood();
  }
}

function parseJson(text: string): unknown {
  if (text === '') return undefined;
  try {
    return JSON.parse(text) as unknown;
  } catch {
    return undefined;
  }
}

function understood<T>(value: unknown, schema: Schema<T>): T {
  const parsed = schema.safeParse(value);
  if (parsed.success) return parsed.data;
  throw notUnderstood();
}

function notUnderstood(): ApiError {
  return new ApiError(
    'not-understood',
    'The server answered in a form this page does not know. Reload the page; it may be older than the server.',
  );
}

function refusal(status: number, value: unknown): ApiError {
  const body = errorBodySchema.safeParse(value);
  if (body.success) return new ApiError(body.data.error, body.data.sentence);
  // Whatever stands between answers so when nothing is behind it.
  if (status >= 502 && status <= 504) return unreachable();
  return new ApiError('internal', status === 404 ? ERRORS['not-found'].sentence : ERRORS.internal.sentence);
}

function unreachable(): ApiError {
  return new ApiError(
    'unreachable',
    'The server does not answer. Is it still running on this computer or network?',
  );
}

function newestFirst(list: Recording[]): Recording[] {
  return [...list].sort((a, b) => (b.startedAt ?? '').localeCompare(a.startedAt ?? ''));
}

/** What to show for anything that was thrown. */
export function sentenceOf(error: unknown): string {
  return error instanceof ApiError ? error.message : ERRORS.internal.sentence;
}
