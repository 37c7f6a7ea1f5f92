/** Where a caution belongs, so that it stands where the work happens. */
export type CautionPlace = 'live' | 'meters' | 'preflight' | 'fuses';

interface Caution {
  readonly id: string;
  readonly places: readonly CautionPlace[];
  readonly what: string;
  readonly why: string;
}

/** What hurts people at this work. The maker's procedure and local rules always come first. */
const CAUTIONS: readonly Caution[] = [
  {
    id: 'hybrid',
    places: ['fuses', 'live', 'preflight'],
    what: 'Hybrid: fob out of the car and at least 3 m (10 ft) away, dash dark.',
    why: 'Its engine can start without warning while the fob is near.',
  },
  {
    id: 'high-voltage',
    places: ['fuses', 'live', 'meters', 'preflight'],
    what: 'Keep off orange wiring.',
    why: 'High voltage is for qualified people only.',
  },
  {
    id: 'spanner',
    places: ['fuses', 'live', 'meters', 'preflight'],
    what: 'No rings, no loose spanners near the posts; no flames or sparks.',
    why: 'A lead-acid battery vents hydrogen and can weld a spanner.',
  },
  {
    id: 'in-line-fuse',
    places: ['live', 'meters', 'preflight'],
    what: 'In-line meter: no door, no locking, no start through it.',
    why: 'Each takes tens of amperes; its fuse is not made for that. A clamp carries them.',
  },
  {
    id: 'pull',
    places: ['fuses'],
    what: 'Pull no fuse of airbags, of steering or brakes, or of anything orange, unless the maker describes how.',
    why: 'Some units store faults, lose what they learned, or must be shut down in order.',
  },
  {
    id: 'do-not-wake',
    places: ['fuses'],
    what: 'Do not wake the car: no door, no bonnet switch, no ignition; after each disturbance wait for sleep again.',
    why: 'An awake car draws through many fuses, and every figure taken then is wrong.',
  },
  {
    id: 'probe',
    places: ['fuses'],
    what: 'Probe only the two test points of the fuse, with slim tips.',
    why: 'A slip between two fuses is a short circuit across the battery.',
  },
  {
    id: 'laptop',
    places: ['meters', 'preflight'],
    what: 'Keep the laptop away from a charging battery.',
    why: 'The gas gathers where the battery vents.',
  },
  {
    id: 'exhaust',
    places: ['live', 'preflight'],
    what: 'Never run the engine indoors without extraction.',
    why: 'Carbon monoxide kills without a smell.',
  },
];

/** The shortest form, beside the figures: what to do, without the reasons. */
export const CAUTION_LINE =
  'Hybrid: fob at least 3 m away, dash dark. Hands off orange wiring. In-line meter: no doors, no start.';

export const CAUTION_RULE =
  "The maker's procedure, local codes and licensed practice come before anything said here.";

export function cautionsFor(place: CautionPlace): readonly Caution[] {
  return CAUTIONS.filter((c) => c.places.includes(place));
}
