import { describe, expect, it } from 'vitest';
import {
  meanSurfaceVoltage,
  restVoltage,
  surfaceVoltage,
  type BatterySpec,
} from '../../server/simulator/battery.ts';

const battery: BatterySpec = {
  chemistry: 'agm',
  role: 'main',
  capacityAh: 60,
  restV: 12.6,
  sourceResistanceOhm: 0.01,
  fallVPerAh: 0.013,
  surface: [
    { volts: 0.3, decayS: 400 },
    { volts: 0.1, decayS: 5000 },
  ],
};

describe('battery', () => {
  it('falls with the charge that was drawn', () => {
    expect(restVoltage(battery, 0)).toBe(12.6);
    expect(restVoltage(battery, 2 * 3600)).toBeCloseTo(12.6 - 0.026, 12);
  });

  it('loses its surface charge exponentially', () => {
    expect(surfaceVoltage(battery, 0)).toBeCloseTo(0.4, 12);
    expect(surfaceVoltage(battery, 400)).toBeCloseTo(0.3 / Math.E + 0.1 * Math.exp(-0.08), 12);
    expect(surfaceVoltage(battery, 1e6)).toBeCloseTo(0, 12);
  });

  it('averages the surface charge exactly over short and long spans', () => {
    for (const [fromS, toS] of [
      [0, 0.05],
      [123.4, 123.5],
      [0, 3000],
    ] as const) {
      const n = 20_000;
      let sum = 0;
      for (let k = 0; k < n; k++) sum += surfaceVoltage(battery, fromS + ((k + 0.5) / n) * (toS - fromS));
      expect(meanSurfaceVoltage(battery, fromS, toS)).toBeCloseTo(sum / n, 8);
    }
  });
});
