import { z } from 'zod';

/** What is seen to before a car is left alone for a night, and what the page measured of it by itself. */

/** In the order of the work. The first words of each name it in a report. */
export const PREFLIGHT_ITEMS = [
  {
    id: 'maker',
    what: "The maker's procedure for this car read",
    why: 'It comes before anything said here, and says how long this car takes to sleep.',
  },
  {
    id: 'fobs-away',
    what: 'All fobs out of the car and at least 3 m (10 ft) away, dash dark',
    why: "A hybrid's engine can start without warning while a fob is near, and a car that hears a fob does not sleep.",
  },
  {
    id: 'charger-off',
    what: 'Charger off, nothing else clipped to the battery',
    why: 'A charger hides the draw, and a charging battery vents hydrogen.',
  },
  {
    id: 'bonnet-latch',
    what: 'Bonnet open: its latch closed by hand',
    why: 'An open bonnet keeps many cars awake or sets off the alarm. Release the latch again before you shut the bonnet.',
  },
  {
    id: 'door-latches',
    what: 'Every door and the boot latched; an open one latched by hand',
    why: 'One contact that says "open" keeps the car awake. Lead cables out through a seal, not a latch.',
  },
  {
    id: 'meter-fuse',
    what: 'In-line meter: bridged whenever a door, the locking or the start could run through it',
    why: "Each takes tens of amperes, and the meter's fuse blows. Better a clamp.",
  },
  {
    id: 'clamp-zeroed',
    what: 'Clamp zeroed, then closed around one cable, arrow the way the current leaves the battery',
    why: 'A clamp drifts by tens of milliamperes; what it shows around nothing is taken off later.',
  },
  {
    id: 'range-fixed',
    what: 'Range fixed by hand; HOLD, REL and MIN/MAX off',
    why: 'A meter that changes its range goes blind for a moment, just when a pulse comes.',
  },
  {
    id: 'meter-power',
    what: 'Meters on fresh cells, their auto-power-off switched off',
    why: 'Most meters switch themselves off after 10 to 30 minutes unless told otherwise.',
  },
  {
    id: 'computer',
    what: 'This computer on mains, its sleep switched off, not where the battery vents',
    why: 'A computer that sleeps leaves a gap; gas gathers where a battery vents.',
  },
  {
    id: 'locked',
    what: 'Locked as the owner locks it, then left alone',
    why: 'Time to sleep counts from the lock. Say on the windscreen that nobody may touch it.',
  },
] as const;
export type PreflightId = (typeof PREFLIGHT_ITEMS)[number]['id'];

/** What the page looks at itself. */
export const PREFLIGHT_CHECKS = [
  { id: 'readings', what: 'Readings arrive' },
  { id: 'rate', what: 'Fast enough to see pulses' },
  { id: 'resolution', what: 'Last digit fine enough for the limit' },
  { id: 'noise', what: 'Quiet enough' },
  { id: 'offset', what: 'Zero of the clamp known' },
  { id: 'disk', what: 'Room on the disk' },
  { id: 'power', what: 'This computer on mains' },
  { id: 'screen', what: 'This page stays awake' },
] as const;
export type PreflightCheckId = (typeof PREFLIGHT_CHECKS)[number]['id'];

const idsOf = <T extends string>(list: readonly { readonly id: T }[]): [T, ...T[]] =>
  list.map((x) => x.id) as [T, ...T[]];

export const CHECK_VERDICTS = ['fine', 'poor', 'not-known'] as const;

export const checkFoundSchema = z.strictObject({
  id: z.enum(idsOf(PREFLIGHT_CHECKS)),
  verdict: z.enum(CHECK_VERDICTS),
  /** What was found, with its figure: "Clamp: 9.8 readings a second". */
  text: z.string().trim().min(1).max(400),
  /** The figure itself in V, A, bytes, readings a second; null where there is none. */
  value: z.number().nullable(),
  at: z.iso.datetime(),
});
export type CheckFound = z.infer<typeof checkFoundSchema>;

export const checklistSchema = z.strictObject({
  /** Those that a person ticked, each with the time of its tick. */
  ticks: z
    .array(z.strictObject({ id: z.enum(idsOf(PREFLIGHT_ITEMS)), at: z.iso.datetime() }))
    .max(PREFLIGHT_ITEMS.length),
  /** As the page found them when the recording was started. */
  found: z.array(checkFoundSchema).max(PREFLIGHT_CHECKS.length),
});
export type Checklist = z.infer<typeof checklistSchema>;
