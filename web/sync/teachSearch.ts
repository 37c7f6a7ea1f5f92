import type { TeachingGlance, TeachResult } from '../../drivers/teach/teach.ts';

/** The search for a meter's encoding, beside the page. Only the newest question is answered. */
export class TeachSearch {
  private worker: Worker | null = null;

  /** Calls back once, unless another question, or the end, comes first. */
  ask(glances: readonly TeachingGlance[], onResult: (result: TeachResult) => void): void {
    this.close();
    const worker = new Worker(new URL('./teachWorker.ts', import.meta.url), { type: 'module' });
    this.worker = worker;
    worker.onmessage = ({ data }: MessageEvent<TeachResult>) => {
      this.close();
      onResult(data);
    };
    worker.postMessage(glances);
  }

  close(): void {
    this.worker?.terminate();
    this.worker = null;
  }
}
