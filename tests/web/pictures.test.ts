import { describe, expect, it } from 'vitest';
import type { Zoom } from '../../server/messages/zoom.ts';
import { Pictures, type Asked } from '../../web/state/pictures.ts';
import { planFor, type FetchPlan } from '../../web/state/fetchplan.ts';
import type { TimeWindow } from '../../web/state/window.ts';

const whole: TimeWindow = { fromS: 0, toS: 36_000 };
const WIDTH = 600;

interface Question {
  readonly plan: FetchPlan;
  given: boolean;
  answer(raw?: boolean): Promise<void>;
  fail(): Promise<void>;
}

function zoomOf(plan: FetchPlan, raw: boolean): Zoom {
  const t = Float64Array.of(plan.fromS);
  const channel = { channelId: 1, quantity: 'current' as const, exact: true, raw, t, min: t, max: t };
  return { ...plan, channels: [channel] };
}

/** A server that answers when it is told to. */
function bench() {
  const asked: Question[] = [];
  let turns = 0;
  const pictures = new Pictures({
    ask: (plan): Asked => {
      let settle: { yes: (z: Zoom) => void; no: (e: Error) => void };
      const picture = new Promise<Zoom>((yes, no) => (settle = { yes, no }));
      const question: Question = {
        plan,
        given: false,
        answer: async (raw = false) => {
          settle.yes(zoomOf(plan, raw));
          await picture;
        },
        fail: async () => {
          settle.no(new Error('away'));
          await picture.catch(() => undefined);
        },
      };
      asked.push(question);
      return { picture, cancel: () => (question.given = true) };
    },
    changed: () => turns++,
  });
  return { pictures, asked, turns: () => turns };
}

describe('the pictures of a chart', () => {
  it('begin with the whole, then have what the view needs, and draw the old one meanwhile', async () => {
    const { pictures, asked, turns } = bench();
    const view = { fromS: 1000, toS: 2000 };
    pictures.look(view, whole, WIDTH);
    expect(asked.map((q) => q.plan)).toEqual([planFor(whole, whole, WIDTH)]);
    expect(pictures.best()).toBeNull();
    await asked[0]!.answer();
    expect(pictures.best()!.toS).toBe(36_000);
    expect(pictures.loading).toBe(true);
    expect(asked[1]!.plan).toEqual(planFor(view, whole, WIDTH));
    await asked[1]!.answer();
    expect(pictures.best()!.fromS).toBe(500);
    expect(pictures.loading).toBe(false);
    expect(turns()).toBe(2);
  });

  it('are fetched ahead, so that the next moves find them there', async () => {
    const { pictures, asked } = bench();
    pictures.look(whole, whole, WIDTH);
    await asked[0]!.answer();
    pictures.look({ fromS: 10_000, toS: 11_000 }, whole, WIDTH);
    for (let i = 1; i < asked.length; i++) await asked[i]!.answer();
    const before = asked.length;
    expect(before).toBeGreaterThan(3);
    for (const view of [
      { fromS: 10_700, toS: 11_700 },
      { fromS: 9300, toS: 10_300 },
      { fromS: 9000, toS: 12_200 },
    ]) {
      pictures.look(view, whole, WIDTH);
      expect(pictures.loading, `${view.fromS}`).toBe(false);
      expect(pictures.best()!.fromS).toBeLessThanOrEqual(view.fromS);
    }
  });

  it('give up what the view has left, and wait for what still covers it', async () => {
    const { pictures, asked } = bench();
    pictures.look(whole, whole, WIDTH);
    await asked[0]!.answer();
    for (let i = 1; i < asked.length; i++) await asked[i]!.answer();
    const at = asked.length;
    pictures.look({ fromS: 1000, toS: 2000 }, whole, WIDTH);
    pictures.look({ fromS: 1100, toS: 2100 }, whole, WIDTH);
    expect(asked.length).toBe(at + 1);
    expect(asked[at]!.given).toBe(false);
    pictures.look({ fromS: 30_000, toS: 31_000 }, whole, WIDTH);
    expect(asked[at]!.given).toBe(true);
    await asked[at]!.answer();
    expect(pictures.best()!.toS).toBe(36_000);
    await asked[at + 1]!.answer();
    expect(pictures.best()!.fromS).toBe(29_500);
  });

  it('need nothing finer than the readings themselves', async () => {
    const { pictures, asked } = bench();
    pictures.look(whole, whole, WIDTH);
    await asked[0]!.answer(true);
    pictures.look({ fromS: 1000, toS: 1010 }, whole, WIDTH);
    expect(asked.length).toBe(1);
    expect(pictures.loading).toBe(false);
  });

  it('of a growing recording are fetched anew where it grew, and stay on screen until then', async () => {
    const { pictures, asked } = bench();
    pictures.look(whole, whole, WIDTH);
    await asked[0]!.answer();
    pictures.look({ fromS: 1000, toS: 2000 }, whole, WIDTH);
    for (let i = 1; i < asked.length; i++) await asked[i]!.answer();
    const at = asked.length;
    const longer = { fromS: 0, toS: 36_060 };
    // What lies in the past is as it was.
    pictures.look({ fromS: 1000, toS: 2000 }, longer, WIDTH);
    expect(pictures.loading).toBe(false);
    pictures.look(longer, longer, WIDTH);
    expect(pictures.best()!.toS).toBe(36_000);
    const fresh = asked.slice(at).filter((q) => q.plan.toS === 36_060);
    expect(fresh.length).toBeGreaterThan(0);
    for (const q of fresh) await q.answer();
    expect(pictures.best()!.toS).toBe(36_060);
  });

  it('that reached the end are fetched anew also where the view has not moved: another meter may have been behind', async () => {
    const { pictures, asked } = bench();
    const end = { fromS: 35_000, toS: 36_000 };
    pictures.look(end, whole, WIDTH);
    for (let i = 0; i < asked.length; i++) await asked[i]!.answer();
    expect(pictures.loading).toBe(false);
    pictures.look(end, { fromS: 0, toS: 36_060 }, WIDTH);
    expect(pictures.loading).toBe(true);
    expect(pictures.best()!.toS).toBe(36_000);
  });

  it('say what went wrong, ask again when told to, and otherwise leave the server alone', async () => {
    const { pictures, asked } = bench();
    pictures.look(whole, whole, WIDTH);
    await asked[0]!.fail();
    expect(pictures.error).toBeInstanceOf(Error);
    expect(pictures.loading).toBe(false);
    pictures.look(whole, whole, WIDTH);
    expect(asked.length).toBe(1);
    pictures.retry();
    expect(asked.length).toBe(2);
    await asked[1]!.answer();
    expect(pictures.error).toBeNull();
    pictures.close();
    expect(pictures.best()).toBeNull();
  });
});
