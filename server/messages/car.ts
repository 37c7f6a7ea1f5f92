import { z } from 'zod';

/** What is known of the car of a case before anything is measured. */

const shortText = z.string().trim().max(120);

export const mileageSchema = z.strictObject({
  value: z.int().min(0).max(9_999_999),
  unit: z.enum(['km', 'mi']),
});
export type Mileage = z.infer<typeof mileageSchema>;

export const BATTERY_PLACES = ['engine-bay', 'boot', 'under-seat', 'footwell', 'elsewhere'] as const;
export const CHEMISTRIES = ['flooded', 'efb', 'agm', 'gel'] as const;

export const batterySchema = z.strictObject({
  role: z.enum(['main', 'auxiliary']),
  /** Null where nobody could read the label. */
  chemistry: z.enum(CHEMISTRIES).nullable(),
  capacityAh: z.number().positive().max(1000).nullable(),
  ageYears: z.number().min(0).max(40).nullable().default(null),
  place: z.enum(BATTERY_PLACES).nullable().default(null),
});
export type Battery = z.infer<typeof batterySchema>;

export const FOB_CELLS = ['not-checked', 'good', 'weak', 'new'] as const;

export const fobsSchema = z.strictObject({
  count: z.int().min(0).max(20).nullable().default(null),
  /** In the customer's words: "both", "the one with the scratch". */
  failing: shortText.default(''),
  cell: z.enum(FOB_CELLS).default('not-checked'),
  /** Measured with the cell out of the fob. */
  cellV: z.number().min(0).max(5).nullable().default(null),
});
export type Fobs = z.infer<typeof fobsSchema>;

/**
 * What normal storage, habit or a fob nearby could explain. Asked before anything is blamed; common practice of the
 * trade, no source.
 */
export const EXPLANATIONS = [
  {
    id: 'fob-near',
    question: 'Is a fob kept within a few metres of the parked car?',
    explains:
      'A car that hears a fob may go on answering it: it polls fast all night and empties the fob too.',
  },
  {
    id: 'fob-inside',
    question: 'Is a spare fob left in the car?',
    explains: 'The car may stay half awake, and refuse to lock or to open at the handle.',
  },
  {
    id: 'fob-covered',
    question: 'Does the fob lie with a phone, coins or in a metal case?',
    explains: 'Metal and a phone can drown the call of the handle; the button still works.',
  },
  {
    id: 'short-trips',
    question: 'Mostly short trips, or days of standing in between?',
    explains: 'The battery is then never charged to the full, and rests low without a fault.',
  },
  {
    id: 'added-devices',
    question: 'Any added device: camera, tracker, alarm, something in the diagnostic socket, towing module?',
    explains: 'It draws a current of its own and may keep waking the car. Measure once without it.',
  },
  {
    id: 'switched-off',
    question: 'Is passive entry switched off in a menu, or a storage or transport mode on?',
    explains: 'Many cars also stop listening by themselves after some days parked; the handbook says when.',
  },
  {
    id: 'recent-work',
    question: 'A new battery, a jump start or work on the electrics lately?',
    explains:
      'Some functions come back only after a procedure of the maker, and a new battery may need registering.',
  },
  {
    id: 'one-place',
    question: 'Does it fail in one place only?',
    explains: 'A transmitter, a charger or lighting nearby can drown the fob; then the place is at fault.',
  },
  {
    id: 'weather',
    question: 'Only in frost or rain, or with gloves on?',
    explains: 'Ice, water or a thick glove at the handle keep its sensor from feeling the hand.',
  },
] as const;
export type ExplanationId = (typeof EXPLANATIONS)[number]['id'];
export const EXPLANATION_IDS = EXPLANATIONS.map((e) => e.id) as [ExplanationId, ...ExplanationId[]];

export const ANSWERS = ['yes', 'no', 'not-known'] as const;

export const askedSchema = z.strictObject({
  /** How long it stood before it failed. */
  parkedDays: z.number().min(0).max(3650).nullable().default(null),
  /** Absent: not asked yet. */
  answers: z
    .partialRecord(
      z.enum(EXPLANATION_IDS),
      z.strictObject({ answer: z.enum(ANSWERS), note: shortText.default('') }),
    )
    .default({}),
});
export type Asked = z.infer<typeof askedSchema>;
