import { describe, expect, it } from 'vitest';
import { armSchema, watchSettingsSchema, type Warning } from '../../server/messages/watch.ts';
import { Alarm, armedText, checkWatch, USUAL_WATCH, watchFormOf } from '../../web/state/watch.ts';

describe('the settings of a watch', () => {
  it('begin as the server would set them', () => {
    const checked = checkWatch(USUAL_WATCH);
    expect(checked).toEqual({
      ok: true,
      settings: { floorV: 11.8, quietS: 120, awakeAfterS: 5400, diskFreeMb: 500 },
    });
    expect({ ...watchSettingsSchema.parse({}), webhook: undefined }).toEqual({
      ...(checked.ok && checked.settings),
      webhook: undefined,
    });
  });

  it('take decimal commas, and empty fields as off', () => {
    const checked = checkWatch({
      ...USUAL_WATCH,
      floorV: '11,9',
      quietMin: ' ',
      awakeMin: '1.5',
      diskMb: '',
    });
    expect(checked).toEqual({
      ok: true,
      settings: { floorV: 11.9, quietS: null, awakeAfterS: 90, diskFreeMb: null },
    });
  });

  it('say which field is wrong', () => {
    const checked = checkWatch({
      ...USUAL_WATCH,
      floorV: 'low',
      quietMin: '0.1',
      awakeMin: '0',
      diskMb: '-1',
      webhook: 'ftp://x',
    });
    expect(checked.ok ? [] : Object.keys(checked.errors).sort()).toEqual([
      'awakeMin',
      'diskMb',
      'floorV',
      'quietMin',
      'webhook',
    ]);
  });

  it.each([
    ['https://hook.example/a?b=c', true],
    ['http://10.0.0.4:8080', true],
    ['https://a:b@hook.example/', false],
    ['hook.example', false],
  ])('an address %s is judged as the server does', (webhook, isGood) => {
    const checked = checkWatch({ ...USUAL_WATCH, webhook });
    expect(checked.ok).toBe(isGood);
    expect(armSchema.safeParse({ settings: { webhook } }).success).toBe(isGood);
  });

  it('leave an address as it was, or take it away', () => {
    const armed = { floorV: 12, quietS: 30, awakeAfterS: null, diskFreeMb: 500, webhookHost: 'hook.example' };
    const form = watchFormOf(armed);
    expect(form).toMatchObject({ floorV: '12', quietMin: '0.5', awakeMin: '', webhook: '' });
    const kept = checkWatch(form);
    expect(kept.ok && 'webhook' in kept.settings).toBe(false);
    const dropped = checkWatch({ ...form, dropWebhook: true });
    expect(dropped.ok && dropped.settings.webhook).toBeNull();
    expect(armedText(armed)).toBe(
      'Armed: warns of the battery below 12 V, a meter quiet for 30 s, less than 500 MB on the disk. Also tells hook.example.',
    );
    const none = { floorV: null, quietS: null, awakeAfterS: null, diskFreeMb: null, webhookHost: null };
    expect(armedText(none)).toBe('Armed, but nothing is watched for.');
  });
});

describe('the sound', () => {
  const low: Warning = { code: 'battery-low', subject: '', atMs: 5000, text: 'Low.' };
  const quiet: Warning = { code: 'meter-quiet', subject: 'server:a', atMs: 9000, text: 'Quiet.' };
  const soundsOf = (alarm: Alarm, warnings: Warning[], fromS: number, toS: number): number => {
    let n = 0;
    for (let s = fromS; s < toS; s++) if (alarm.due(warnings, s * 1000)) n++;
    return n;
  };

  it('comes three times for a warning, and not for ever', () => {
    const alarm = new Alarm();
    expect(soundsOf(alarm, [], 0, 100)).toBe(0);
    expect(soundsOf(alarm, [low], 100, 1000)).toBe(3);
    expect(soundsOf(alarm, [low, quiet], 1000, 2000)).toBe(3);
    expect(soundsOf(alarm, [low, quiet], 2000, 3000)).toBe(0);
    expect(soundsOf(alarm, [], 3000, 3100)).toBe(0);
    expect(soundsOf(alarm, [{ ...low, atMs: 7_000_000 }], 3100, 4000)).toBe(3);
  });

  it('ends when somebody has heard it', () => {
    const alarm = new Alarm();
    expect(alarm.due([low], 0)).toBe(true);
    expect(alarm.isPending).toBe(true);
    alarm.heard();
    expect([alarm.isPending, soundsOf(alarm, [low], 1, 500)]).toEqual([false, 0]);
  });
});
