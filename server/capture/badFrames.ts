/**
 * Turns a stream of refused frames into few events: the first is told at once, those that follow within the
 * pause are counted and told together with the next.
 */
export class BadFrames {
  private toldAtMs = -Infinity;
  private untold = 0;
  private lastSentence = '';

  constructor(private readonly pauseMs = 10_000) {}

  /** @returns the text of the event to record, or null while the pause lasts */
  see(sentence: string, atMs: number): string | null {
    this.lastSentence = sentence;
    if (atMs - this.toldAtMs < this.pauseMs) {
      this.untold++;
      return null;
    }
    const text = withCount(sentence, this.untold);
    this.toldAtMs = atMs;
    this.untold = 0;
    return text;
  }

  /** What is still to be told when the recording ends; null when nothing is. */
  rest(): string | null {
    if (this.untold === 0) return null;
    const text = withCount(this.lastSentence, this.untold - 1);
    this.untold = 0;
    return text;
  }
}

function withCount(sentence: string, more: number): string {
  return more === 0 ? sentence : `${sentence} (and ${more} more refused before it)`;
}
