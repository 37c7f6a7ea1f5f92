import { describe, expect, it } from 'vitest';
import {
  addressOf,
  descriptionFileName,
  readBindKey,
  readDescription,
  readServices,
  taughtFor,
} from '../../web/state/meterSettings.ts';
import { UNKNOWN_METER_TAUGHT } from '../helpers/unknownMeter.ts';

const KEY = '231d39c1d7cc1ab1aee224cd096db932';

it('only a meter of the server’s radio that is known by its address can have a key', () => {
  expect(addressOf({ key: 'server:C0:DE:00:00:00:01', source: 'server' })).toBe('c0:de:00:00:00:01');
  expect(addressOf({ key: 'server:one', source: 'server' })).toBeNull();
  expect(addressOf({ key: 'page:c0:de:00:00:00:01', source: 'page' })).toBeNull();
});

it('reads a bind key as it is printed', () => {
  expect(readBindKey(` ${KEY.toUpperCase()} `)).toEqual({ ok: true, value: KEY });
  expect(readBindKey(KEY.replaceAll(/(..)(?=.)/g, '$1:'))).toEqual({ ok: true, value: KEY });
  for (const wrong of ['', KEY.slice(1), `${KEY}0`, KEY.replace('2', 'g')])
    expect(readBindKey(wrong).ok).toBe(false);
});

it('reads services in any layout, each once', () => {
  const long = '6C1D0001-93b5-4e0c-8a52-0f7e3d21b4a9';
  expect(readServices(`FFE0, 0xfff0\n${long};ffe0 `)).toEqual({
    ok: true,
    value: ['ffe0', '0xfff0', long.toLowerCase()],
  });
  expect(readServices('')).toEqual({ ok: true, value: [] });
  expect(readServices('ffe0 ffe')).toEqual({
    ok: false,
    sentence: '"ffe" is no service: write 4 hexadecimal digits, or 32 with dashes.',
  });
  const many = Array.from({ length: 41 }, (_, i) => (0x1000 + i).toString(16)).join(' ');
  expect(readServices(many)).toEqual({ ok: false, sentence: 'At most 40 services.' });
});

describe('a description of a taught meter', () => {
  it('comes back from the file that it was exported to', () => {
    expect(readDescription(JSON.stringify(UNKNOWN_METER_TAUGHT, null, 2))).toEqual({
      ok: true,
      value: UNKNOWN_METER_TAUGHT,
    });
  });

  it.each([
    ['no JSON', 'volts'],
    ['another document', '{"schema":"nightdraw.findings/1"}'],
    ['a field too many', JSON.stringify({ ...UNKNOWN_METER_TAUGHT, code: 'x' })],
    ['endless', ' '.repeat(300_000) + JSON.stringify(UNKNOWN_METER_TAUGHT)],
  ])('is refused where the file is %s', (_what, text) => {
    expect(readDescription(text).ok).toBe(false);
  });

  it('is named after its title, whatever that is', () => {
    const named = (title: string) => descriptionFileName({ ...UNKNOWN_METER_TAUGHT, title });
    expect(named('Größe: clamp / 2')).toBe('gro-e-clamp-2.meter.json');
    expect(named('../..')).toBe('meter.meter.json');
  });

  it('says which meters it is for', () => {
    const taught = { id: 'abcd', addedAt: '2026-01-01T00:00:00.000Z' };
    const description = { ...UNKNOWN_METER_TAUGHT, source: null, nameStartsWith: 'AB' };
    expect(taughtFor({ ...taught, description })).toBe('Any meter that nothing else reads, named “AB…”');
  });
});
