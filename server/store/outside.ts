import type Database from 'better-sqlite3';

/** Tells whether what is kept in memory may have become untrue without this process having written it. */
export class Outside {
  private readonly dataVersion;
  private seen = -1;
  private number = 0;

  constructor(db: Database.Database) {
    this.dataVersion = db.prepare<[], number>('PRAGMA data_version').pluck();
  }

  /** Another number after each commit of another process and after each `undone`. */
  version(): number {
    const now = this.dataVersion.get()!;
    if (now !== this.seen) this.number++;
    this.seen = now;
    return this.number;
  }

  /** To be called when a transaction of this process was undone. */
  undone(): void {
    this.number++;
  }
}
