import { querySchema, type MeterRecord } from '../messages/meterRecord.ts';
import { idSchema, QUANTITIES, quantitySchema } from '../messages/records.ts';
import { SCENARIOS, type ScenarioName } from '../simulator/scenarios.ts';
import { UsageError, type ParsedArgs } from './command.ts';
import { writeEveryMs } from './writeEvery.ts';

export interface RecordArgs {
  /** Ids of meters of this computer's radio; empty for the virtual car. */
  readonly meterIds: readonly string[];
  readonly scenario: ScenarioName;
  readonly seed: number;
  /** Null: until it is interrupted. */
  readonly seconds: number | null;
  /** Virtual seconds a second; 0 is as fast as the machine can. */
  readonly speed: number;
  readonly caseId: string | null;
  /** Readings of so long share one write to the disk. */
  readonly writeEveryMs: number;
  /** Seconds of a zero check before and after; null for none. */
  readonly zeroSeconds: number | null;
  /** Seconds to move the clamp between a zero check and the recording. */
  readonly zeroPause: number;
  /** Stand before what the meters' records say. */
  readonly asking: { readonly query?: MeterRecord['query']; readonly unitless?: MeterRecord['unitless'] };
}

/** @throws UsageError */
export function recordArgsOf({ values, positionals }: ParsedArgs): RecordArgs {
  const named = Array.isArray(values.meter) ? values.meter.map(String) : [];
  const meterIds = [...named, ...positionals];
  const virtual = values.virtual === true;
  if (virtual && meterIds.length > 0) throw new UsageError('Give either --meter or --virtual, not both.');
  if (!virtual && named.length === 0)
    throw new UsageError('Say what to record: --meter ID (see "nightdraw meters") or --virtual.');
  const strange = meterIds.find((id) => !/^[\w:.-]{1,113}$/.test(id));
  if (strange !== undefined)
    throw new UsageError(`"${strange}" is no meter's id; "nightdraw meters" lists them.`);
  for (const name of ['zero', 'query', 'unitless'])
    if (virtual && values[name] !== undefined) throw new UsageError(`--${name} goes with --meter only.`);
  for (const name of ['scenario', 'seed', 'speed'])
    if (!virtual && values[name] !== undefined) throw new UsageError(`--${name} goes with --virtual only.`);

  const scenario = values.scenario ?? 'healthy';
  if (typeof scenario !== 'string' || !Object.hasOwn(SCENARIOS, scenario))
    throw new UsageError(`--scenario is one of ${Object.keys(SCENARIOS).join(', ')}.`);
  const speed = numberOf(values, 'speed', 0, 1_000_000) ?? 1;
  const given = numberOf(values, 'seconds', 0.1, 400 * 86_400);
  const caseId = typeof values.case === 'string' ? values.case : null;
  if (caseId !== null && !idSchema.safeParse(caseId).success)
    throw new UsageError(`"${caseId}" is no case's id.`);
  return {
    meterIds,
    scenario: scenario as ScenarioName,
    seed: integerOf(values, 'seed') ?? 1,
    seconds: given ?? (virtual ? SCENARIOS[scenario as ScenarioName].nightS : null),
    speed,
    caseId,
    writeEveryMs: writeEveryMs({ values }),
    zeroSeconds: numberOf(values, 'zero', 1, 60),
    zeroPause: numberOf(values, 'zero-pause', 0, 3600) ?? 20,
    asking: askingOf(values),
  };
}

function askingOf(values: ParsedArgs['values']): RecordArgs['asking'] {
  const intervalMs = numberOf(values, 'query-ms', 20, 60_000) ?? 500;
  if (values['query-ms'] !== undefined && values.query === undefined)
    throw new UsageError('--query-ms goes with --query.');
  const query = values.query === undefined ? null : querySchema.safeParse({ text: values.query, intervalMs });
  if (query !== null && !query.success)
    throw new UsageError('--query needs up to 60 letters, digits and signs of plain English text.');
  const unitless = values.unitless === undefined ? null : quantitySchema.safeParse(values.unitless);
  if (unitless !== null && !unitless.success)
    throw new UsageError(`--unitless is one of ${QUANTITIES.join(', ')}.`);
  return { ...(query && { query: query.data }), ...(unitless && { unitless: unitless.data }) };
}

function numberOf(values: ParsedArgs['values'], name: string, least: number, most: number): number | null {
  const text = values[name];
  if (text === undefined) return null;
  const value = typeof text === 'string' && text.trim() !== '' ? Number(text) : NaN;
  if (!(value >= least && value <= most))
    throw new UsageError(`--${name} needs a number from ${least} to ${most}.`);
  return value;
}

function integerOf(values: ParsedArgs['values'], name: string): number | null {
  const value = numberOf(values, name, 0, 2 ** 31 - 1);
  if (value !== null && !Number.isInteger(value)) throw new UsageError(`--${name} needs a whole number.`);
  return value;
}
