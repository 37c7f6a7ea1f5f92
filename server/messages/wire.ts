import { z } from 'zod';
import { columnsOf, type SampleColumns } from '../samples/columns.ts';

/** Samples on the wire: the columns of `SampleColumns` as plain arrays. */
const MAX_SAMPLES = 20_000;
const finite = z.number();

export const wireColumnsSchema = z
  .strictObject({
    t: z.array(finite).max(MAX_SAMPLES),
    counts: z.array(finite).max(MAX_SAMPLES),
    scale: z.array(z.int().min(-128).max(127)).max(MAX_SAMPLES),
    flags: z.array(z.int().min(0).max(0xffff)).max(MAX_SAMPLES),
  })
  .refine(
    (c) => c.counts.length === c.t.length && c.scale.length === c.t.length && c.flags.length === c.t.length,
    {
      message: 'columns differ in length',
    },
  );
export type WireColumns = z.infer<typeof wireColumnsSchema>;

export function encodeColumns(c: SampleColumns): WireColumns {
  return { t: [...c.t], counts: [...c.counts], scale: [...c.scale], flags: [...c.flags] };
}

export function decodeColumns(w: WireColumns): SampleColumns {
  return columnsOf(w.t, w.counts, w.scale, w.flags);
}
