import { DriverError } from '../../drivers/core/errors.ts';
import { FLAG, textOf } from '../../drivers/core/reading.ts';
import { bytesOf } from '../../drivers/teach/bits.ts';
import type { MeterDescription } from '../../drivers/teach/description.ts';
import { parseDisplay, unitText } from '../../drivers/teach/display.ts';
import { readFrame } from '../../drivers/teach/read.ts';
import type { TeachResult } from '../../drivers/teach/teach.ts';
import type { RawFrame, RawFrames } from '../../server/messages/rawFrames.ts';

export type { MeterDescription, TeachResult };

/** A frame and what the display read when it came. */
export interface Glance {
  readonly frame: RawFrame;
  readonly display: string;
}

/** Everything on the teaching page: frames as they arrive, the one held for the next glance, glances so far. */
export interface Teaching {
  readonly meterKey: string | null;
  readonly name: string;
  /** Newest last, of every kind that the meter sends. */
  readonly frames: readonly RawFrame[];
  /** The kind that is taught; null until a first frame is held. */
  readonly kind: string | null;
  /** Held while its figure is typed, so that both belong to one moment. */
  readonly held: RawFrame | null;
  readonly glances: readonly Glance[];
}

export const NO_TEACHING: Teaching = {
  meterKey: null,
  name: '',
  frames: [],
  kind: null,
  held: null,
  glances: [],
};

export const FEWEST_GLANCES = 5;
const MOST_FRAMES = 200;

/** Frames of one characteristic and one length are of one kind; a meter may send several. */
export function kindOf(frame: RawFrame): string {
  return `${frame.service} ${frame.characteristic} ${frame.hex.length / 2}`;
}

/** A meter is to be taught from now on. */
export function begin(meterKey: string, name: string): Teaching {
  return { ...NO_TEACHING, meterKey, name };
}

/** Frames of any other meter, taught elsewhere at the same time, leave this teaching as it is. */
export function heard(state: Teaching, { meterKey, name, frames }: RawFrames): Teaching {
  if (state.meterKey !== meterKey) return state;
  const fresh = frames.filter((f) => f.hex.length > 0);
  return { ...state, name, frames: [...state.frames, ...fresh].slice(-MOST_FRAMES) };
}

export interface Kind {
  readonly kind: string;
  readonly frames: number;
  readonly octets: number;
  /** The characteristic's first digits, which tell one from another. */
  readonly from: string;
}

/** Kinds heard lately, the most frequent first. */
export function kinds(state: Teaching): Kind[] {
  const counts = new Map<string, Kind>();
  for (const f of state.frames) {
    const kind = kindOf(f);
    const { frames } = counts.get(kind) ?? { frames: 0 };
    const from = f.characteristic.slice(0, 8);
    counts.set(kind, { kind, frames: frames + 1, octets: f.hex.length / 2, from });
  }
  return [...counts.values()].sort((a, b) => b.frames - a.frames);
}

/** Another kind has glances of its own. */
export function chooseKind(state: Teaching, kind: string): Teaching {
  return kind === state.kind ? state : { ...state, kind, held: null, glances: [] };
}

/** The newest frame of the kind that is taught. */
export function newest(state: Teaching): RawFrame | null {
  const kind = state.kind ?? kinds(state)[0]?.kind;
  return state.frames.findLast((f) => kindOf(f) === kind) ?? null;
}

/** Holds the newest frame: its figure is on the display now and may be typed at leisure. */
export function hold(state: Teaching): Teaching {
  const held = newest(state);
  return held === null ? state : { ...state, held, kind: kindOf(held) };
}

export function letGo(state: Teaching): Teaching {
  return { ...state, held: null };
}

/** A sentence where the text is no figure of a display; null where it is. */
export function displayProblem(display: string): string | null {
  const parsed = parseDisplay(display);
  return typeof parsed === 'string' ? parsed : null;
}

/** Pairs the held frame with what was typed. */
export function addGlance(state: Teaching, display: string): Teaching {
  if (state.held === null || displayProblem(display) !== null) return state;
  return {
    ...state,
    held: null,
    glances: [...state.glances, { frame: state.held, display: display.trim() }],
  };
}

export function removeGlance(state: Teaching, index: number): Teaching {
  return { ...state, glances: state.glances.filter((_, i) => i !== index) };
}

/** With fewer the search has nothing to begin with. */
export const FEWEST_TO_SEARCH = 2;

/** Glances as the search takes them. */
export function octetsIn(glances: readonly Glance[]): { frame: Uint8Array; display: string }[] {
  return glances.map(({ frame, display }) => ({ frame: bytesOf(frame.hex), display }));
}

/** Kinds of display that no glance has shown yet, each as a wish. */
export function notShownYet(glances: readonly Glance[]): string[] {
  const shown = glances.flatMap(({ display }) => {
    const parsed = parseDisplay(display);
    return typeof parsed === 'string' ? [] : [parsed];
  });
  const units = new Set(shown.flatMap(({ unit }) => (unit === null ? [] : [unitText(unit)])));
  return [
    shown.some((g) => !g.overload && g.counts === 0) ? null : 'zero',
    shown.some((g) => g.negative && g.counts !== 0) ? null : 'a negative figure',
    units.size > 1 ? null : 'another range or unit',
    shown.some((g) => g.overload) ? null : 'over-range, if that is safe',
  ].filter((wish): wish is string => wish !== null);
}

/** What a description makes of a frame, as a display would show it: to be held against the meter's own. */
export function readAs(description: MeterDescription, frame: RawFrame): string {
  try {
    const reading = readFrame(description, bytesOf(frame.hex));
    if (reading === null) return 'a quantity that is not recorded';
    const { quantity, counts, scale, flags } = reading;
    if ((flags & FLAG.overload) !== 0) return 'over-range';
    return `${textOf(counts, scale)} ${UNIT_OF[quantity]}`;
  } catch (error) {
    if (error instanceof DriverError) return `refused: ${error.message}`;
    throw error;
  }
}

const UNIT_OF = { voltage: 'V', current: 'A', temperature: '°C' } as const;

/** One line on how far the teaching is. */
export function progressLine(glances: number, result: TeachResult | null): string {
  if (glances < FEWEST_TO_SEARCH || result === null)
    return 'Take a first few glances; each with another figure.';
  if (result.state === 'none') return result.reasons[0] ?? 'No encoding explains all glances.';
  if (result.fits > 1) return `${result.fits} encodings still fit.`;
  if (result.state === 'ambiguous') return 'One encoding fits, but it is not certain yet.';
  if (glances < FEWEST_GLANCES) return `One encoding fits; ${FEWEST_GLANCES - glances} more to be sure.`;
  return 'One encoding fits all glances.';
}

/** The description as it would be saved; null while it must not be. */
export function toSave(state: Teaching, result: TeachResult | null, title: string): MeterDescription | null {
  const first = state.glances[0]?.frame;
  if (!result?.description || !first || state.glances.length < FEWEST_GLANCES) return null;
  return {
    ...result.description,
    title: title.trim().slice(0, 80) || state.name.slice(0, 80) || 'Taught meter',
    source: { service: first.service, characteristic: first.characteristic },
    nameStartsWith: state.name.trim().slice(0, 40) || null,
  };
}

export interface Octet {
  readonly hex: string;
  readonly changed: boolean;
}

/** The octets of a frame, and which of them differ from the one before. */
export function octetsOf(frame: RawFrame, before: RawFrame | null): Octet[] {
  const pairs = frame.hex.match(/../g) ?? [];
  const old = before?.hex.match(/../g) ?? [];
  return pairs.map((hex, i) => ({ hex, changed: before !== null && old[i] !== hex }));
}

/** The last frames of the kind that is taught, newest first. */
export function shownFrames(state: Teaching, most: number): { frame: RawFrame; octets: Octet[] }[] {
  const kind = state.kind ?? kinds(state)[0]?.kind;
  const own = state.frames.filter((f) => kindOf(f) === kind);
  return own
    .map((frame, i) => ({ frame, octets: octetsOf(frame, own[i - 1] ?? null) }))
    .slice(-most)
    .reverse();
}
