import { valueOf } from '../../drivers/core/reading.ts';
import { findStoredNight } from '../../server/capture/nightInput.ts';
import { instantsOf, target, threadSeconds, type Ground, type Row, type Topic } from './bench.ts';
import { storedMonth } from './stored.ts';

const DAYS = [1, 3, 10, 30];
/** A length is left out where the one before it says that it would take longer than this. */
const MOST_SECONDS = 60;

/**
 * What reading the blocks costs, and the whole analysis of them, beside the least that anything called a detector
 * does; all grow with the recording and no faster.
 */
export const analysis: Topic = {
  name: 'analysis',
  run(ground) {
    const rows: Row[] = [];
    let last = { days: 0, plain: 0, whole: Infinity };
    for (const days of DAYS.filter((d) => d <= ground.days)) {
      ground.say(`  ${days} days`);
      const decode = decoded(ground, days);
      const plain = detected(ground, days);
      const expected = days > 1 ? last.whole * (days / last.days) : 0;
      const whole = expected > MOST_SECONDS ? null : analysed(ground, days);
      rows.push({
        name: `${days} ${days === 1 ? 'day' : 'days'}`,
        kind: 'ours',
        cells: [decode, plain, whole, whole === null ? null : whole / days],
        note: whole === null ? `the analysis would take ${Math.round(expected)} s or more` : '',
      });
      last = { days, plain, whole: whole ?? Infinity };
    }
    const pass = onePass(ground);
    rows.push({
      name: 'one pass over an array in memory',
      kind: 'limit',
      cells: [null, null, pass, pass / ground.days],
      note: `${ground.days} days`,
    });
    const month = (last.whole * 30) / last.days;
    return [
      {
        title: 'Analysis from stored blocks, seconds of one thread',
        columns: ['decode', 'decode and plain detector', 'decode and analysis', 'a day'],
        rows,
        targets: [
          target('decode and analysis of 30 days', month, '<=', 1.5, 's'),
          target('the same, by a plain detector', last.whole / last.plain, '<=', 1.5 / 0.9, 'times'),
          target('the same, by one pass over an array', last.whole / pass, '<=', 1.5 / 0.016, 'times'),
        ],
      },
    ];
  },
};

function decoded(ground: Ground, days: number): number {
  const { store, recording } = storedMonth(ground, instantsOf(days));
  return threadSeconds(() => {
    const all = recording.channels.map((c) => store.partsOf(c.id)[Symbol.iterator]());
    // Side by side, because the channels share their blocks.
    while (all.map((parts) => parts.next()).some((next) => next.done !== true));
  });
}

/** Amperes by which a pulse rises above the floor: chosen for this month, which a plain detector cannot do. */
const RISE_A = 0.05;

/** What a plain detector does: pulses above one threshold, with their times and charges, and no word on how sure. */
function detected(ground: Ground, days: number): number {
  const { store, recording } = storedMonth(ground, instantsOf(days));
  const current = recording.channels.find((c) => c.quantity === 'current')!;
  let pulses = 0;
  let charge = 0;
  const seconds = threadSeconds(() => {
    let floor = NaN;
    let above = false;
    let before = 0;
    for (const { length, t, counts, scale } of store.partsOf(current.id))
      for (let i = 0; i < length; i++) {
        const y = valueOf(counts[i]!, scale[i]!);
        const rise = y - (Number.isNaN(floor) ? y : floor);
        // A floor that follows slowly from above and fast from below.
        floor = y - rise + (rise > 0 ? 1e-4 : 0.1) * rise;
        const is = rise > RISE_A;
        if (is && !above) pulses++;
        if (is) charge += (rise * (t[i]! - before)) / 1000;
        above = is;
        before = t[i]!;
      }
  });
  if (!(pulses > 0 && charge > 0)) throw new Error('The plain detector saw nothing.');
  return seconds;
}

function analysed(ground: Ground, days: number): number {
  const { store, recording } = storedMonth(ground, instantsOf(days));
  return threadSeconds(() => findStoredNight(store, recording.id));
}

/** The second time, when the array is in memory and the loop is compiled. */
function onePass(ground: Ground): number {
  const { current } = ground.month(instantsOf(ground.days));
  let sum = 0;
  const pass = (): void => {
    for (let i = 0; i < current.length; i++) sum += current[i]!;
  };
  pass();
  const seconds = threadSeconds(pass);
  if (!(sum > 0)) throw new Error('The month is empty.');
  return seconds;
}
