import { parseAccuracy } from '../../server/analysis/accuracy.ts';
import { analysisOptionsSchema, type AnalysisOptions } from '../../server/messages/findings.ts';
import { readNumber } from './caseForm.ts';

/** What the analysis may be told, as text in fields; empty means nothing said. */
export interface OptionsForm {
  readonly meterAccuracy: string;
  readonly apertureMs: string;
  readonly capacityAh: string;
  readonly chemistry: '' | 'flooded' | 'efb' | 'agm' | 'gel';
  readonly temperatureC: string;
  readonly thresholdV: string;
  readonly drawLimitMA: string;
}

export const EMPTY_OPTIONS: OptionsForm = {
  meterAccuracy: '',
  apertureMs: '',
  capacityAh: '',
  chemistry: '',
  temperatureC: '',
  thresholdV: '',
  drawLimitMA: '',
};

export type CheckedOptions =
  | { readonly ok: true; readonly options: AnalysisOptions }
  | { readonly ok: false; readonly errors: Partial<Record<keyof OptionsForm, string>> };

const NUMBERS = [
  { field: 'apertureMs', option: 'apertureMs', factor: 1 },
  { field: 'capacityAh', option: 'capacityAh', factor: 1 },
  { field: 'temperatureC', option: 'temperatureC', factor: 1 },
  { field: 'thresholdV', option: 'thresholdV', factor: 1 },
  { field: 'drawLimitMA', option: 'drawLimitA', factor: 1e-3 },
] as const;

/** The options in the server's form, or one sentence for each field that is not right. */
export function checkOptions(form: OptionsForm): CheckedOptions {
  const errors: Partial<Record<keyof OptionsForm, string>> = {};
  const raw: Record<string, unknown> = {};
  for (const { field, option, factor } of NUMBERS) {
    const n = readNumber(form[field]);
    if (n === null) continue;
    const value = n * factor;
    if (analysisOptionsSchema.safeParse({ [option]: value }).success) raw[option] = value;
    else errors[field] = 'This number is outside what makes sense here.';
  }
  const accuracy = form.meterAccuracy.trim();
  if (accuracy !== '') {
    if (accuracy.length <= 40 && parseAccuracy(accuracy) !== null) raw['meterAccuracy'] = accuracy;
    else errors.meterAccuracy = 'Write percent and digits, for example 0.5%+3.';
  }
  if (form.chemistry !== '') raw['chemistry'] = form.chemistry;
  if (Object.keys(errors).length > 0) return { ok: false, errors };
  return { ok: true, options: analysisOptionsSchema.parse(raw) };
}
