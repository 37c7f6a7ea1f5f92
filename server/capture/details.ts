import type { MeterDetails } from '../../drivers/core/driver.ts';

/** Less than this in the charge of a meter's own cell is no news. */
const CELL_STEP_PERCENT = 5;

/** One sentence for the meter's line and for the recording. */
export function detailsText(d: MeterDetails): string {
  const facts = [
    d.maker === null ? '' : `made by ${d.maker}`,
    d.model === null ? '' : `model ${d.model}`,
    d.serial === null ? '' : `serial number ${d.serial}`,
    d.firmware === null ? '' : `firmware ${d.firmware}`,
    d.cellPercent === null ? '' : `its own cell at ${d.cellPercent} %`,
  ].filter((fact) => fact !== '');
  const text = facts.join(', ');
  return `${text.slice(0, 1).toUpperCase()}${text.slice(1)}.`;
}

export function differ(a: MeterDetails, b: MeterDetails): boolean {
  const same = (['maker', 'model', 'serial', 'firmware'] as const).every((name) => a[name] === b[name]);
  if (!same || (a.cellPercent === null) !== (b.cellPercent === null)) return true;
  return Math.abs((a.cellPercent ?? 0) - (b.cellPercent ?? 0)) >= CELL_STEP_PERCENT;
}
