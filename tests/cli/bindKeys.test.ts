import { rmSync, writeFileSync } from 'node:fs';
import path from 'node:path';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { readBindKeys } from '../../server/cli/bindKeys.ts';
import { NightdrawError } from '../../server/messages/errors.ts';
import { toHex } from '../helpers/hex.ts';
import { temporaryFolder } from '../helpers/hubBench.ts';

describe('bind keys beside the database', () => {
  let folder: string;
  beforeEach(() => {
    folder = temporaryFolder();
  });
  afterEach(() => rmSync(folder, { recursive: true }));
  const write = (content: string): void => writeFileSync(path.join(folder, 'bind-keys.json'), content);

  it('are none where there is no file', () => {
    expect(readBindKeys(folder).secretsOf('54:48:e6:8f:80:a5')).toBeNull();
  });

  it('are found by address, however it is written', () => {
    write('{"54:48:E6:8F:80:A5": "231D39C1D7CC1AB1AEE224CD096DB932"}');
    const { secretsOf } = readBindKeys(folder);
    expect(toHex(secretsOf('54:48:e6:8f:80:a5')!.key)).toBe('231d39c1d7cc1ab1aee224cd096db932');
    expect(secretsOf('54:48:e6:8f:80:a6')).toBeNull();
  });

  it.each([
    ['not JSON', '{', /must be JSON/],
    ['a list', '[]', /bind-keys\.json/],
    ['an address that is none', '{"beacon": "231d39c1d7cc1ab1aee224cd096db932"}', /six pairs/],
    ['a key that is too short', '{"54:48:e6:8f:80:a5": "231d"}', /32 hexadecimal digits/],
  ])('%s is refused with what to do', (_, content, sentence) => {
    write(content);
    expect(() => readBindKeys(folder)).toThrow(NightdrawError);
    expect(() => readBindKeys(folder)).toThrow(sentence);
  });
});
