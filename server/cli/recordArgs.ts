import { idSchema } from '../messages/records.ts';
import { SCENARIOS, type ScenarioName } from '../simulator/scenarios.ts';
import { UsageError, type ParsedArgs } from './command.ts';

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
  };
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
