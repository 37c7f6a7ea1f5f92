import type { Members } from './zip.ts';

/** Members of a zip file, each unpacked anew whenever it is asked for: only what is in use takes room. */
export class PackedMembers implements Members {
  constructor(private readonly packed: ReadonlyMap<string, () => Uint8Array>) {}

  get size(): number {
    return this.packed.size;
  }

  /** @throws ZipError where the member is damaged */
  get(name: string): Uint8Array | undefined {
    return this.packed.get(name)?.();
  }

  has(name: string): boolean {
    return this.packed.has(name);
  }

  /** Those whose name `rename` gives a new one; null leaves one out. */
  renamed(rename: (name: string) => string | null): PackedMembers {
    const entries = [...this.packed].flatMap(([name, unpack]) => {
      const fresh = rename(name);
      return fresh === null ? [] : [[fresh, unpack] as const];
    });
    return new PackedMembers(new Map(entries));
  }

  keys(): MapIterator<string> {
    return this.packed.keys();
  }

  *values(): MapIterator<Uint8Array> {
    for (const unpack of this.packed.values()) yield unpack();
  }

  *entries(): MapIterator<[string, Uint8Array]> {
    for (const [name, unpack] of this.packed) yield [name, unpack()];
  }

  [Symbol.iterator](): MapIterator<[string, Uint8Array]> {
    return this.entries();
  }

  forEach(visit: (octets: Uint8Array, name: string, map: ReadonlyMap<string, Uint8Array>) => void): void {
    for (const [name, octets] of this) visit(octets, name, this);
  }
}
