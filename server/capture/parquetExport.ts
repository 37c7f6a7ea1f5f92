import { gzipSync } from 'node:zlib';
import { ByteWriter, ParquetWriter } from 'hyparquet-writer';
import { isLive, valueOf } from '../../drivers/core/reading.ts';
import type { Store } from '../store/store.ts';
import { columnNames, notesOf, selfOf } from './csvExport.ts';
import { ExportRows, kindsOf, type ChannelKind } from './exportRows.ts';

type Schema = ConstructorParameters<typeof ParquetWriter>[0]['schema'];

/** Rows of one row group: enough for its statistics to be worth reading, few enough to be held as columns. */
const GROUP_ROWS = 1 << 17;
/** Finer packing takes twice the time for a fiftieth of the size. */
const GZIP_LEVEL = 4;

/**
 * A recording as a Parquet file, in pieces; PARQUET.md describes its columns. Nothing is lost: counts, scales, flags
 * and times are those of the recording, bit for bit.
 * @param groupRows rows of one row group
 * @throws NightdrawError not-found
 */
export function* exportParquet(
  store: Store,
  recordingId: string,
  groupRows = GROUP_ROWS,
): Generator<Uint8Array> {
  const recording = store.getRecording(recordingId);
  const kinds = kindsOf(store, recording);
  const channels = columnNames(recording).map((name, k) => new ChannelColumns(name, kinds[k]!, groupRows));
  const rows = new ExportRows(recording.channels.map((channel) => store.partsOf(channel.id)));
  const about = { recording: selfOf(recording), notes: notesOf(store, recording).map((note) => note.cell) };
  const writer = new ByteWriter();
  const parquet = new ParquetWriter({
    writer,
    schema: [
      { name: 'recording', num_children: 1 + 4 * channels.length },
      { name: 'time_ms', type: 'DOUBLE', repetition_type: 'REQUIRED' },
      ...channels.flatMap((channel) => channel.schema),
    ],
    codec: 'GZIP',
    compressors: { GZIP: (bytes) => gzipSync(bytes, { level: GZIP_LEVEL }) },
    kvMetadata: [{ key: 'nightdraw', value: JSON.stringify(about) }],
    createdBy: 'nightdraw',
  });
  const t = new Float64Array(groupRows);
  let n = 0;
  const group = () => {
    const time = { name: 'time_ms', data: t.slice(0, n), encoding: 'BYTE_STREAM_SPLIT' as const };
    const columnData = [time, ...channels.flatMap((channel) => channel.take(n))];
    void parquet.write({ columnData, rowGroupSize: groupRows });
    n = 0;
    return written(writer);
  };
  while (rows.t < Infinity) {
    rows.take();
    t[n] = rows.t;
    channels.forEach((channel, k) => channel.put(n, rows.pieces[k]!, rows.at[k]!));
    rows.findNext();
    if (++n === groupRows) yield group();
  }
  if (n > 0) yield group();
  void parquet.finish();
  yield written(writer);
}

/** What was written since the last call. */
function written(writer: ByteWriter): Uint8Array {
  const bytes = writer.getBytes().slice();
  writer.index = 0;
  return bytes;
}

/** The four columns of one channel in one row group. */
class ChannelColumns {
  readonly schema: Schema;
  private readonly base: string;
  private readonly isIn: Uint8Array;
  private readonly isLive: Uint8Array;
  private readonly value: Float64Array;
  private readonly counts: Float64Array | Int32Array;
  private readonly scale: Int32Array;
  private readonly flags: Int32Array;

  constructor(
    private readonly name: string,
    kind: ChannelKind,
    rows: number,
  ) {
    this.base = name.replace(/_[^_]+$/, '');
    this.isIn = new Uint8Array(rows);
    this.isLive = new Uint8Array(rows);
    this.value = new Float64Array(rows);
    this.counts = kind.small ? new Int32Array(rows) : new Float64Array(rows);
    this.scale = new Int32Array(rows);
    this.flags = new Int32Array(rows);
    const optional = { repetition_type: 'OPTIONAL' } as const;
    this.schema = [
      { name, type: 'DOUBLE', ...optional },
      { name: `${this.base}_counts`, type: kind.small ? 'INT32' : 'DOUBLE', ...optional },
      { name: `${this.base}_scale`, type: 'INT32', ...optional },
      { name: `${this.base}_flags`, type: 'INT32', ...optional },
    ];
  }

  put(row: number, c: { counts: Float64Array; scale: Int8Array; flags: Uint16Array }, at: number): void {
    this.isIn[row] = at < 0 ? 0 : 1;
    this.isLive[row] = 0;
    if (at < 0) return;
    const [counts, scale, flags] = [c.counts[at]!, c.scale[at]!, c.flags[at]!];
    this.counts[row] = counts;
    this.scale[row] = scale;
    this.flags[row] = flags;
    if (!isLive(flags)) return;
    this.isLive[row] = 1;
    this.value[row] = valueOf(counts, scale);
  }

  take(rows: number) {
    const { name, base, isIn } = this;
    const floats = 'BYTE_STREAM_SPLIT' as const;
    // A dictionary of doubles would not tell minus zero from zero.
    const counts = this.counts instanceof Int32Array ? ('DELTA_BINARY_PACKED' as const) : floats;
    const few = 'RLE_DICTIONARY' as const;
    return [
      { name, data: withBlanks(this.value, this.isLive, rows), encoding: floats },
      { name: `${base}_counts`, data: withBlanks(this.counts, isIn, rows), encoding: counts },
      { name: `${base}_scale`, data: withBlanks(this.scale, isIn, rows), encoding: few },
      { name: `${base}_flags`, data: withBlanks(this.flags, isIn, rows), encoding: few },
    ];
  }
}

/** The first rows of a column, null where it says nothing. */
function withBlanks(column: Float64Array | Int32Array, isIn: Uint8Array, rows: number) {
  const all = column.slice(0, rows);
  return isIn.subarray(0, rows).includes(0) ? Array.from(all, (x, i) => (isIn[i] === 1 ? x : null)) : all;
}
