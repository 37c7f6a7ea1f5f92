import type { SampleColumns } from './columns.ts';
import type { InstantChannel, Instants } from './instants.ts';

/** So many more instants than samples of the busiest channel, and sharing times saves nothing any more. */
const MOST_UNSHARED = 1.1;

/** Channels that share a column of times, by their places in what was given to `shareTimes`. */
export interface Shared {
  readonly members: readonly number[];
  readonly instants: Instants;
}

/**
 * Brings channels of one meter together where most of their times are equal. Each channel keeps the order of its
 * own samples, whatever their times.
 */
export function shareTimes(all: readonly SampleColumns[]): Shared[] {
  const groups: { members: number[]; instants: Instants }[] = [];
  all.forEach((columns, k) => {
    if (columns.length === 0) return;
    for (const group of groups) {
      const merged = merge(group.instants, columns);
      if (merged === null) continue;
      group.instants = merged;
      group.members.push(k);
      return;
    }
    groups.push({ members: [k], instants: alone(columns) });
  });
  return groups;
}

/** The same, but only channels whose times are all equal come together. */
export function shareEqualTimes(all: readonly SampleColumns[]): Shared[] {
  const groups: { members: number[]; instants: Instants }[] = [];
  all.forEach((columns, k) => {
    if (columns.length === 0) return;
    const group = groups.find((g) => sameTimes(g.instants.t, columns.t));
    if (group === undefined) {
      groups.push({ members: [k], instants: alone(columns) });
      return;
    }
    group.members.push(k);
    group.instants = {
      ...group.instants,
      channels: [...group.instants.channels, ...alone(columns).channels],
    };
  });
  return groups;
}

export function alone({ length, t, counts, scale, flags }: SampleColumns): Instants {
  return { length, t, channels: [{ rows: null, counts, scale, flags }] };
}

export function sliceInstants(block: Instants, from: number, to: number): Instants {
  const t = block.t.subarray(from, to);
  return {
    length: t.length,
    t,
    channels: block.channels.map(({ rows, counts, scale, flags }): InstantChannel => {
      const a = rows === null ? from : lowerBound(rows, from);
      const b = rows === null ? to : lowerBound(rows, to);
      return {
        rows: rows === null ? null : rows.slice(a, b).map((row) => row - from),
        counts: counts.subarray(a, b),
        scale: scale.subarray(a, b),
        flags: flags.subarray(a, b),
      };
    }),
  };
}

function lowerBound(rows: Uint32Array, row: number): number {
  let [low, high] = [0, rows.length];
  while (low < high) {
    const middle = (low + high) >> 1;
    if (rows[middle]! < row) low = middle + 1;
    else high = middle;
  }
  return low;
}

function sameTimes(a: Float64Array, b: Float64Array): boolean {
  if (a.length !== b.length) return false;
  for (let i = 0; i < a.length; i++) if (!Object.is(a[i], b[i])) return false;
  return true;
}

/** The channel beside the others; null where too few of its times are theirs. */
function merge(block: Instants, columns: SampleColumns): Instants | null {
  const { length, counts, scale, flags } = columns;
  if (sameTimes(block.t, columns.t))
    return { ...block, channels: [...block.channels, { rows: null, counts, scale, flags }] };
  const limit = Math.floor(Math.max(block.length, length) * MOST_UNSHARED);
  const [a, b] = [block.t, columns.t];
  const t = new Float64Array(limit);
  const old = new Uint32Array(block.length);
  const own = new Uint32Array(length);
  let [i, j, n] = [0, 0, 0];
  while (i < a.length || j < b.length) {
    if (n === limit) return null;
    const next = j === b.length || (i < a.length && a[i]! <= b[j]!) ? a[i]! : b[j]!;
    t[n] = next;
    if (i < a.length && Object.is(a[i], next)) old[i++] = n;
    if (j < b.length && Object.is(b[j], next)) own[j++] = n;
    n++;
  }
  const channels = block.channels.map((channel) => {
    const rows = channel.rows === null ? old : channel.rows.map((row) => old[row]!);
    return { ...channel, rows: rows.length === n ? null : rows };
  });
  const rows = own.length === n ? null : own;
  return { length: n, t: t.slice(0, n), channels: [...channels, { rows, counts, scale, flags }] };
}
