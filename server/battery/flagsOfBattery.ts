import { estimateText, figureText } from '../messages/figures.ts';
import type { Rule } from './flagRule.ts';

/** Where the battery stands, where it is going, and what keeps its rest voltage from being one. */

export const batteryZone: Rule = (f) => {
  const rest = f.battery.restVoltageV;
  if (rest === null) return [];
  const below = f.battery.thresholdV - rest.value;
  const thresholdU = f.battery.thresholdUncertaintyV ?? 0;
  const u = Math.hypot(rest.expandedUncertainty, thresholdU);
  const limit = `${f.battery.thresholdV.toFixed(2)}${thresholdU > 0 ? ` ± ${thresholdU.toFixed(2)}` : ''} V`;
  const from = {
    default: 'the default, 40 % state of charge by the table in use, as no standard gives a voltage',
    set: 'set for this car',
    'measured-on-this-car': 'measured on this car',
  }[f.battery.thresholdFrom];
  const because = [
    `Rest voltage ${estimateText(rest, 'voltage')!}; passive entry is taken as unreliable below ${limit} (${from}).`,
  ];
  const charge = estimateText(f.battery.stateOfCharge, 'percent');
  if (charge !== null) because.push(`State of charge ${charge} by ${f.battery.table}.`);
  if (below > u)
    return [
      {
        code: 'battery-unreliable-zone',
        severity: 'act',
        summary: 'The battery sits in the unreliable zone.',
        because,
        next: 'Charge it fully, let it rest and test it before blaming the fob or the handle.',
      },
    ];
  if (below > -u)
    return [
      {
        code: 'battery-unreliable-zone',
        severity: 'watch',
        summary:
          thresholdU > rest.expandedUncertainty
            ? 'The battery cannot be told apart from the edge of the unreliable zone, which is not known well enough.'
            : 'The battery cannot be told apart from the edge of the unreliable zone with this meter.',
        because,
        next:
          thresholdU > rest.expandedUncertainty
            ? 'Try the handle at more voltages near this edge, or charge the battery and repeat.'
            : 'Measure the rest voltage again with a better meter, or charge the battery and repeat.',
      },
    ];
  return [];
};

export const outlook: Rule = (f) => {
  const days = f.battery.daysToUnreliable;
  if (days === null || days.value <= 0) return [];
  return [
    {
      code: 'days-until-unreliable',
      severity: days.value < 7 ? 'watch' : 'info',
      summary: `At this draw the battery reaches the unreliable zone in ${estimateText(days, 'days')!}.`,
      because: [
        'From the state of charge, the average after sleep, and published self-discharge of 0 to 1 % a day.',
      ],
      next: null,
    },
  ];
};

export const charging: Rule = (_f, facts) => {
  if (facts.chargingShare < 0.02 && facts.chargingA === null) return [];
  const because =
    facts.chargingShare >= 0.02
      ? [`The voltage is above 13.2 V for ${Math.round(100 * facts.chargingShare)} % of the recording.`]
      : [];
  if (facts.chargingA !== null)
    because.push(`Up to ${figureText(facts.chargingA, 'current')} flowed into the battery.`);
  return [
    {
      code: 'charger-connected',
      severity: 'watch',
      summary: 'Something charged the battery during the recording.',
      because,
      next: 'Take the charger off, or know the car topped up its own battery, and repeat for a rest voltage.',
    },
  ];
};

export const surfaceCharge: Rule = (_f, facts) =>
  facts.surfaceLeftV < 0.02
    ? []
    : [
        {
          code: 'surface-charge-present',
          severity: 'info',
          summary: 'The battery still carried surface charge at the end.',
          because: [
            `About ${figureText(facts.surfaceLeftV, 'voltage')} were still to decay; the rest voltage given is where it was heading.`,
          ],
          next: 'Let it rest longer, or take the charge off with the headlamps for 15 s and wait 5 min.',
        },
      ];
