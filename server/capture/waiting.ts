import { ColumnBuilder } from '../samples/builder.ts';
import type { SampleColumns } from '../samples/columns.ts';

/** Samples in one group; also the most that one commit writes at a time. */
const GROUP = 4096;

interface Group {
  readonly channel: number[];
  readonly t: number[];
  readonly counts: number[];
  readonly scale: number[];
  readonly flags: number[];
}

/** Readings that were pushed out of memory before they could be stored: no reading of a channel in this span. */
export interface Lost {
  readonly channelId: number;
  readonly startMs: number;
  readonly endMs: number;
  readonly samples: number;
}

/**
 * Samples that wait to be stored, in the order of their arrival and bounded in number: when there are more
 * than `limit`, the oldest group goes, and says what it held.
 */
export class WaitingSamples {
  private readonly groups: Group[] = [];
  private count = 0;

  constructor(private readonly limit: number) {}

  get length(): number {
    return this.count;
  }

  /** Whether a whole group is ready, so that waiting longer saves nothing. */
  get groupReady(): boolean {
    return this.count >= GROUP;
  }

  /** @returns what had to go to make room; empty nearly always */
  add(channelId: number, t: number, counts: number, scale: number, flags: number): readonly Lost[] {
    let last = this.groups.at(-1);
    if (last === undefined || last.t.length >= GROUP) {
      last = { channel: [], t: [], counts: [], scale: [], flags: [] };
      this.groups.push(last);
    }
    last.channel.push(channelId);
    last.t.push(t);
    last.counts.push(counts);
    last.scale.push(scale);
    last.flags.push(flags);
    this.count++;
    if (this.count <= this.limit || this.groups.length < 2) return [];
    const oldest = this.groups.shift()!;
    this.count -= oldest.t.length;
    return spansOf(oldest);
  }

  /** The oldest group, a part for each channel in it; it stays until `removeOldest`. */
  oldest(): readonly { readonly channelId: number; readonly columns: SampleColumns }[] {
    const group = this.groups[0];
    if (group === undefined) return [];
    const parts = new Map<number, ColumnBuilder>();
    group.channel.forEach((channelId, i) => {
      let part = parts.get(channelId);
      if (part === undefined) parts.set(channelId, (part = new ColumnBuilder(16)));
      part.push(group.t[i]!, group.counts[i]!, group.scale[i]!, group.flags[i]!);
    });
    return Array.from(parts, ([channelId, part]) => ({ channelId, columns: part.columns() }));
  }

  removeOldest(): void {
    this.count -= this.groups.shift()?.t.length ?? 0;
  }
}

function spansOf(group: Group): Lost[] {
  const spans = new Map<number, Lost>();
  group.channel.forEach((channelId, i) => {
    const t = group.t[i]!;
    const before = spans.get(channelId);
    spans.set(channelId, {
      channelId,
      startMs: Math.min(before?.startMs ?? t, t),
      endMs: Math.max(before?.endMs ?? t, t),
      samples: (before?.samples ?? 0) + 1,
    });
  });
  return [...spans.values()];
}
