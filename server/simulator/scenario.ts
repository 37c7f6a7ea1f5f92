import type { BatterySpec } from './battery.ts';
import type { Segment } from './load.ts';
import type { MeterSpec } from './meter.ts';

/** A control unit that goes to sleep in steps: what it draws until each time, seconds from the start. */
export interface ModuleSpec {
  readonly name: string;
  readonly stages: readonly { readonly untilS: number; readonly currentA: number }[];
  /** What it draws once asleep. */
  readonly asleepA: number;
}

/** The door search: LF bursts while the car is locked, which stretch after set times and may stop. */
export interface PollingSpec {
  readonly shape: readonly Segment[];
  readonly jitterS: number;
  readonly regimes: readonly { readonly fromS: number; readonly toS: number; readonly periodS: number }[];
}

/** When something wakes: at set times, or for ever with a seeded scatter. */
export interface WakeUpSpec {
  readonly cause: string;
  readonly when:
    | { readonly atS: readonly number[] }
    | {
        readonly firstS: number;
        readonly everyS: number;
        /** Each interval is off by up to this much, either way. */
        readonly scatterS: number;
      };
  readonly profile: readonly Segment[];
}

/** Touching the handle: a search for the fob; what follows depends on whether the car finds it. */
export interface HandleSpec {
  readonly search: readonly Segment[];
  readonly answered: readonly Segment[];
  readonly unanswered: readonly Segment[];
  /** The fob goes unheard where the search pulls the voltage at the posts below this. */
  readonly answersAboveV: number;
  /** Touches that are part of the story, seconds from the start. */
  readonly touchesAtS: readonly number[];
}

/** One evening with one car: everything but the seed. Time 0 is when the recording starts. */
export interface Scenario {
  readonly name: string;
  /** One sentence for whoever chooses it. */
  readonly description: string;
  readonly battery: BatterySpec;
  readonly modules: readonly ModuleSpec[];
  /** Central locking, and anything else that happens once. */
  readonly oneOffs: readonly {
    readonly what: string;
    readonly atS: number;
    readonly profile: readonly Segment[];
  }[];
  readonly polling: PollingSpec | null;
  readonly wakeUps: readonly WakeUpSpec[];
  /** What one press of "wake" does in the live demonstration. */
  readonly liveWake: readonly Segment[];
  readonly handle: HandleSpec;
  readonly clamp: MeterSpec;
  readonly voltmeter: MeterSpec;
  /** How long a recording of it is worth making, seconds. */
  readonly nightS: number;
}
