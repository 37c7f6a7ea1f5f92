import { Router } from 'express';
import { z } from 'zod';
import { NightdrawError } from '../messages/errors.ts';
import {
  addEventSchema,
  chartQuerySchema,
  findingsQuerySchema,
  moveRecordingSchema,
  startRecordingSchema,
  type RecordingDetail,
} from '../messages/http.ts';
import { analysisOptionsSchema } from '../messages/findings.ts';
import { idSchema } from '../messages/records.ts';
import { encodeZoom, ZOOM_TYPE } from '../messages/zoom.ts';
import { pulsesQuerySchema } from '../messages/pulses.ts';
import { chartOf, zoomOf } from './chart.ts';
import { pulsesOf } from './pulses.ts';
import type { Services } from './services.ts';

const listQuerySchema = z.object({ case: idSchema.optional() });

export function recordingRoutes({ store, hub, desk }: Services): Router {
  const router = Router();

  router.get('/', (request, response) => {
    response.json(store.listRecordings(listQuerySchema.parse(request.query).case));
  });

  router.post('/', (request, response) => {
    const { checklist = null, ...start } = startRecordingSchema.parse(request.body);
    const recording = hub.startRecording(start);
    if (checklist !== null) store.writeChecklist(recording.id, checklist);
    response.status(201).json(recording);
  });

  router.get('/:id', (request, response) => {
    const id = idSchema.parse(request.params.id);
    const detail: RecordingDetail = {
      recording: store.getRecording(id),
      events: store.listEvents(id),
      gaps: store.listGaps(id),
      meters: store.listRecordedMeters(id),
      zeroChecks: store.listZeroChecks(id),
      checklist: store.readChecklist(id),
    };
    response.json(detail);
  });

  /** Moves a recording to a case, or out of one. */
  router.patch('/:id', (request, response) => {
    const id = idSchema.parse(request.params.id);
    response.json(hub.moveRecording(id, moveRecordingSchema.parse(request.body).caseId));
  });

  router.delete('/:id', (request, response) => {
    const id = idSchema.parse(request.params.id);
    if (hub.isRunning(id))
      throw new NightdrawError('conflict', 'The recording is still running; stop it first.');
    store.deleteRecording(id);
    response.status(204).end();
  });

  router.post('/:id/stop', (request, response) => {
    response.json(hub.stopRecording(idSchema.parse(request.params.id)));
  });

  router.post('/:id/events', (request, response) => {
    const id = idSchema.parse(request.params.id);
    const { kind, text, outcome = null, nowMs } = addEventSchema.parse(request.body);
    const more = { outcome, ...(nowMs !== undefined && { nowMs }) };
    response.status(201).json(hub.addEvent(id, kind, text, more));
  });

  router.get('/:id/chart', (request, response) => {
    const recording = store.getRecording(idSchema.parse(request.params.id));
    response.json(chartOf(store, recording, chartQuerySchema.parse(request.query)));
  });

  /** What the page draws, a few kilobytes; server/messages/ZOOM.md describes each byte. */
  router.get('/:id/zoom', (request, response) => {
    const recording = store.getRecording(idSchema.parse(request.params.id));
    const zoom = zoomOf(store, recording, chartQuerySchema.parse(request.query));
    response.type(ZOOM_TYPE).send(Buffer.from(encodeZoom(zoom).buffer));
  });

  router.get('/:id/pulses', (request, response) => {
    const recording = store.getRecording(idSchema.parse(request.params.id));
    response.json(pulsesOf(store, recording, pulsesQuerySchema.parse(request.query)));
  });

  router.get('/:id/findings', (request, response) => {
    const id = idSchema.parse(request.params.id);
    response.json(desk.findingsOf(id, analysisOptionsSchema.parse(findingsQuerySchema.parse(request.query))));
  });

  return router;
}
