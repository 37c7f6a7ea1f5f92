import { describe, expect, it } from 'vitest';
import { runCommand } from '../helpers/runCommand.ts';

describe('nightdraw meters', () => {
  it.each([
    [['--seconds', '0'], /--seconds/],
    [['--seconds', 'soon'], /--seconds/],
    [['learn'], /"learn"/],
  ])('is told %j in one sentence', async (argv, sentence) => {
    const { code, stdout, stderr } = await runCommand(['meters', ...argv]);
    expect([code, stdout]).toEqual([2, '']);
    expect(stderr).toMatch(sentence);
    expect(stderr).toMatch(/^[^\n]+\n$/);
  });
});
