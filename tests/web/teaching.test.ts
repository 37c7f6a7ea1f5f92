import { describe, expect, it } from 'vitest';
import { teach } from '../../drivers/teach/teach.ts';
import {
  addGlance,
  begin,
  chooseKind,
  displayProblem,
  heard,
  hold,
  kinds,
  newest,
  NO_TEACHING,
  notShownYet,
  octetsIn,
  octetsOf,
  progressLine,
  readAs,
  removeGlance,
  shownFrames,
  toSave,
  type Teaching,
} from '../../web/state/teaching.ts';

const frame = (hex: string, atMs = 0, characteristic = 'c') => ({ service: 's', characteristic, atMs, hex });
const from = (hexes: readonly string[], meterKey = 'page:a') => ({
  meterKey,
  name: 'Meter A',
  frames: hexes.map((hex, i) => frame(hex, i)),
});
const BEGUN = begin('page:a', 'Meter A');
/** A head, millivolts big end first, a tail. */
const volts = (mV: number) => `aa${(mV & 0xffff).toString(16).padStart(4, '0')}00`;
const glance = (state: Teaching, mV: number, display: string) =>
  addGlance(hold(heard(state, from([volts(mV)]))), display);

const FIVE = [
  [12630, '12.630 V'],
  [12481, '12.481 V'],
  [-304, '-0.304 V'],
  [0, '0.000 V'],
  [9127, '9.127 V'],
] as const;
const taught = FIVE.reduce((s, [mV, display]) => glance(s, mV, display), BEGUN);

const searched = (glances: Teaching['glances']) => teach(octetsIn(glances));

describe('a glance', () => {
  it('belongs to the frame that was held, whatever has come since', () => {
    let state = hold(heard(BEGUN, from([volts(1), volts(2)])));
    state = addGlance(heard(state, from([volts(3)])), '0.002 V');
    expect(state.glances).toMatchObject([{ frame: { hex: volts(2) }, display: '0.002 V' }]);
    expect(state.held).toBeNull();
  });

  it('is not taken without a held frame or with a text that is no figure', () => {
    const state = heard(BEGUN, from([volts(1)]));
    expect(addGlance(state, '1.000 V')).toBe(state);
    expect(addGlance(hold(state), 'twelve').glances).toEqual([]);
    expect(displayProblem('twelve')).not.toBeNull();
    expect(displayProblem('OL V')).toBeNull();
  });

  it('can be taken back', () => {
    expect(removeGlance(taught, 1).glances.map((g) => g.display)).not.toContain('12.481 V');
  });
});

describe('frames', () => {
  it('of another meter, or before a meter was chosen, change nothing', () => {
    expect(heard(taught, from(['ff'], 'page:b'))).toBe(taught);
    expect(heard(NO_TEACHING, from(['ff']))).toBe(NO_TEACHING);
    expect(begin('page:b', 'Meter B')).toMatchObject({ glances: [], name: 'Meter B', kind: null });
  });

  it('are told apart by characteristic and length; the most frequent kind is taught until another is chosen', () => {
    const state = heard(BEGUN, from(['aabb', '01', 'aacc']));
    expect(kinds(state).map((k) => k.frames)).toEqual([2, 1]);
    expect(newest(state)!.hex).toBe('aacc');
    expect(newest(chooseKind(state, kinds(state)[1]!.kind))!.hex).toBe('01');
  });

  it('show which octets changed', () => {
    expect(octetsOf(frame('aa01'), frame('aa02')).map((o) => o.changed)).toEqual([false, true]);
    expect(shownFrames(heard(BEGUN, from(['aa01', 'aa02'])), 1)[0]!.octets[1]).toEqual({
      hex: '02',
      changed: true,
    });
  });

  it('do not grow without end', () => {
    let state: Teaching = BEGUN;
    for (let i = 0; i < 50; i++) state = heard(state, from(Array.from({ length: 40 }, () => volts(i))));
    expect(state.frames).toHaveLength(200);
  });
});

describe('saving', () => {
  it('takes five glances and one encoding', () => {
    const result = searched(taught.glances);
    expect(progressLine(5, result)).toBe('One encoding fits all glances.');
    expect(toSave(taught, result, ' Bench ')).toMatchObject({
      title: 'Bench',
      source: { service: 's', characteristic: 'c' },
      nameStartsWith: 'Meter A',
      length: 4,
    });
    const four = removeGlance(taught, 2);
    expect(toSave(four, searched(four.glances), 'Bench')).toBeNull();
  });

  it('is refused while more than one encoding fits, and says how many', () => {
    // A second number rises along with the figure and never falls: a copy, or the largest so far.
    let state: Teaching = BEGUN;
    for (const mV of [1003, 2214, 3541, 4187, 5390])
      state = addGlance(
        hold(heard(state, from([`${volts(mV)}${mV.toString(16).padStart(4, '0')}`]))),
        `${(mV / 1000).toFixed(3)} V`,
      );
    const result = searched(state.glances);
    expect(result.state).toBe('ambiguous');
    expect(progressLine(5, result)).toMatch(/^\d+ encodings still fit\.$/);
    expect(result.nextGlance).not.toBeNull();
    expect(toSave(state, result, '')).toBeNull();
  });
});

describe('what is still to be shown', () => {
  it('is told by what was', () => {
    expect(notShownYet([])).toHaveLength(4);
    expect(notShownYet(taught.glances)).toEqual(['another range or unit', 'over-range, if that is safe']);
    const more = glance(glance(taught, 250, '250 mV'), 1, 'OL V');
    expect(notShownYet(more.glances)).toEqual([]);
  });
});

describe('what was found reads along', () => {
  const { description } = searched(taught.glances);
  it('as the display would, or says why not', () => {
    expect(readAs(description!, frame(volts(11_111)))).toBe('11.111 V');
    expect(readAs(description!, frame(volts(-5)))).toBe('-0.005 V');
    expect(readAs(description!, frame('aa'))).toMatch(/^refused: The frame has 1 octets/);
  });
});
