import type { Page } from 'playwright-core';
import type { Recording } from '../../../server/messages/records.ts';
import type { SyncBench } from '../pages/syncPage.ts';
import { EmulatedBluez } from './bluez.ts';
import { launchChromium, type BenchBrowser, type BenchPage } from './chromium.ts';
import { CountingMeter, VOLTS_A_COUNT } from './countingMeter.ts';
import type { EmulatedMeter } from './meter.ts';
import { FrontDoor } from './frontDoor.ts';
import { Nightdraw } from './nightdraw.ts';
import { bundle } from './pageServer.ts';

/** The real server, a real browser with the sync in a page of that server's origin, and an emulated meter. */
export class SyncRig {
  readonly bluez = new EmulatedBluez();
  readonly server = new Nightdraw();
  readonly meters: { readonly counting: CountingMeter; readonly emulated: EmulatedMeter }[] = [];
  /** Between the page and the server. */
  door!: FrontDoor;
  browser!: BenchBrowser;

  async start(): Promise<void> {
    await this.bluez.start();
    await this.server.start();
    const script = await bundle(new URL('../pages/syncPage.ts', import.meta.url).pathname);
    this.door = new FrontDoor(() => this.server.port, script);
    await this.door.start();
    this.browser = await launchChromium(this.bluez.address);
  }

  async close(): Promise<void> {
    for (const { counting } of this.meters) counting.stop();
    await this.browser?.close();
    await this.door?.close();
    await this.server.close();
    await this.bluez.stop();
  }

  addMeter(name: string): CountingMeter {
    const address = `C0:FF:EE:00:01:0${this.meters.length}`;
    const counting: CountingMeter = new CountingMeter(name, () => emulated.notifying(CountingMeter.ref));
    const emulated = this.bluez.addMeter(address, counting.peer);
    this.meters.push({ counting, emulated });
    return counting;
  }

  addressOf(counting: CountingMeter): string {
    return this.meters.find((m) => m.counting === counting)!.emulated.address;
  }

  async openPage(): Promise<SyncPage> {
    const bench = await this.browser.openPage(`${this.door.url}bench/page.html`);
    return new SyncPage(bench);
  }

  async startRecording(...meters: string[]): Promise<string> {
    const { id } = await this.server.post<Recording>('recordings', {
      kind: 'overnight-test',
      title: 'Bench night',
      meters,
    });
    return id;
  }

  stopRecording(id: string): Promise<Recording> {
    return this.server.post<Recording>(`recordings/${id}/stop`, {});
  }

  /** What the server has stored of a recording's first channel: the meter's counts, in the order of storing. */
  async storedCounts(id: string): Promise<number[]> {
    const [header, ...lines] = (await this.server.text(`recordings/${id}/samples.csv`)).trim().split('\n');
    if (!header?.startsWith('time_s,voltage_V')) throw new Error(`unexpected CSV: ${header}`);
    const volts = lines.map((line) => line.split(',')[1]!).filter((text) => text !== '');
    return volts.map((text) => Math.round(Number(text) / VOLTS_A_COUNT));
  }
}

export class SyncPage {
  constructor(readonly bench: BenchPage) {}

  get page(): Page {
    return this.bench.page;
  }

  /** Looks at the page's record of what the sync said; `at` runs in the page. */
  async look<T>(at: (bench: SyncBench) => T): Promise<T> {
    const bench = await this.page.evaluateHandle(() => (window as unknown as { bench: SyncBench }).bench);
    try {
      return await bench.evaluate(at);
    } finally {
      await bench.dispose();
    }
  }

  /** Clicks, chooses the meter at that address and waits until it is connected. @returns its key */
  async connect(address: string): Promise<string> {
    this.bench.choose = address;
    const before = await this.look((b) => b.outcomes.length);
    await this.page.click('button');
    await this.page.waitForFunction(
      (n) => (window as unknown as { bench: SyncBench }).bench.outcomes.length > n,
      before,
      { polling: 25 },
    );
    const outcome = await this.look((b) => b.outcomes.at(-1)!);
    if (!outcome.ok) throw new Error(outcome.sentence);
    return outcome.key;
  }

  waiting(): Promise<number> {
    return this.look((b) => b.sync.outboxState.waitingBatches);
  }
}
