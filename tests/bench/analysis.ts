import { findStoredNight } from '../../server/capture/nightInput.ts';
import { instantsOf, target, timed, type Ground, type Row, type Topic } from './bench.ts';
import { storedMonth } from './stored.ts';

const DAYS = [1, 3, 10, 30];
/** A length is left out where the one before it says that it would take longer than this. */
const MOST_SECONDS = 60;

/** What reading the blocks costs, and the whole analysis of them; both grow with the recording and no faster. */
export const analysis: Topic = {
  name: 'analysis',
  run(ground) {
    const rows: Row[] = [];
    let before: { days: number; seconds: number } | null = null;
    for (const days of DAYS.filter((d) => d <= ground.days)) {
      ground.say(`  ${days} days`);
      const decode = decoded(ground, days);
      const expected: number = before === null ? 0 : before.seconds * (days / before.days);
      const whole = expected > MOST_SECONDS ? null : analysed(ground, days);
      const note = whole === null ? `the analysis would take ${Math.round(expected)} s or more` : '';
      rows.push({
        name: `${days} ${days === 1 ? 'day' : 'days'}`,
        kind: 'ours',
        cells: [decode, decode / days, whole, whole === null ? null : whole / days],
        note,
      });
      if (whole !== null) before = { days, seconds: whole };
    }
    const one = onePass(ground);
    rows.push({
      name: 'one pass over arrays in memory',
      kind: 'limit',
      cells: [one, one / ground.days, null, null],
      note: `${ground.days} days`,
    });
    const [, , last] = rows.at(-2)!.cells;
    const longest = DAYS.filter((d) => d <= ground.days).at(-1)!;
    const month = last === null || last === undefined ? Infinity : (last * 30) / longest;
    return [
      {
        title: 'Analysis from stored blocks, seconds of the processor',
        columns: ['decode', 'a day', 'decode and analysis', 'a day'],
        rows,
        targets: [target('decode and analysis of 30 days', month, '<=', 1.5, 's')],
      },
    ];
  },
};

function decoded(ground: Ground, days: number): number {
  const { store, recording } = storedMonth(ground, instantsOf(days));
  return timed(() => {
    const all = recording.channels.map((c) => store.partsOf(c.id)[Symbol.iterator]());
    // Side by side, because the channels share their blocks.
    while (all.map((parts) => parts.next()).some((next) => next.done !== true));
  }).seconds;
}

function analysed(ground: Ground, days: number): number {
  const { store, recording } = storedMonth(ground, instantsOf(days));
  return timed(() => findStoredNight(store, recording.id)).seconds;
}

function onePass(ground: Ground): number {
  const { current, voltage } = ground.month(instantsOf(ground.days));
  let sum = 0;
  const { seconds } = timed(() => {
    for (const y of [current, voltage]) for (let i = 0; i < y.length; i++) sum += y[i]!;
  });
  if (!(sum > 0)) throw new Error('The month is empty.');
  return seconds;
}
