import { z } from 'zod';
import { caseInputSchema } from './records.ts';

/** The file case.json of a demo night: the case it belongs to and the recording's start. */
export const demoCaseSchema = caseInputSchema.extend({ startedAt: z.iso.datetime() });
