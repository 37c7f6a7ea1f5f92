import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import path from 'node:path';
import { afterAll, describe, expect, it } from 'vitest';
import { meterDescriptionSchema } from '../../drivers/teach/description.ts';
import { readFrame } from '../../drivers/teach/read.ts';
import { fromHex } from '../helpers/hex.ts';
import { runCommand } from '../helpers/runCommand.ts';

const folder = mkdtempSync(path.join(tmpdir(), 'nightdraw-teach-'));
afterAll(() => rmSync(folder, { recursive: true }));

function file(name: string, lines: readonly string[]): string {
  const full = path.join(folder, name);
  writeFileSync(full, lines.join('\n'));
  return full;
}

const line = (frame: string, display: string) => JSON.stringify({ frame, display });
const five = [
  line('aa 55 56 31 00', '12.63 V'),
  line('AA:55:C1:30:00', '12.48 V'),
  line('aa55d0fe00', '−0.30 V'),
  '',
  line('aa55000000', '0,00'),
  line('aa55a72300', '9.13 V'),
];

describe('nightdraw meters teach', () => {
  it('prints the description and nothing else on stdout', async () => {
    const { code, stdout, stderr } = await runCommand(['meters', 'teach', file('five.jsonl', five)]);
    expect(code).toBe(0);
    const description = meterDescriptionSchema.parse(JSON.parse(stdout));
    expect(readFrame(description, fromHex('aa553f3100'))).toMatchObject({ counts: 12607, scale: -3 });
    expect(stderr).toContain('Learned from 5 glances.');
  });

  it('says what is open and prints no description while it is', async () => {
    const two = file('two.jsonl', five.slice(0, 2));
    const { code, stdout, stderr } = await runCommand(['meters', 'teach', two]);
    expect([code, stdout]).toEqual([1, '']);
    expect(stderr).toContain('Show next:');
  });

  it('says when nothing fits', async () => {
    const odd = file('odd.jsonl', [...five, line('aa55a72300', '4.00 V')]);
    const { code, stdout, stderr } = await runCommand(['meters', 'teach', odd]);
    expect([code, stdout]).toEqual([1, '']);
    expect(stderr).toContain('No encoding');
  });

  it.each([
    [['{"frame":"zz","display":"1 V"}'], /bad\.jsonl line 1: expected/],
    [[line('0102', '1 V'), '{"frame":'], /bad\.jsonl line 2: not JSON/],
    [[line('0102', '1 V'), line('010203', '1 V')], /bad\.jsonl line 2: the frame has 3 octets/],
    [[line('0102', '1 V'), '', line('0102', '1 parsec')], /bad\.jsonl line 3: "parsec"/],
    [[line('00'.repeat(65), '1 V')], /bad\.jsonl line 1: expected .* 64 octets/],
    [[''], /holds no frames/],
  ])('refuses %j', async (lines, sentence) => {
    const { code, stdout, stderr } = await runCommand(['meters', 'teach', file('bad.jsonl', lines)]);
    expect([code, stdout]).toEqual([2, '']);
    expect(stderr).toMatch(sentence);
    expect(stderr).toMatch(/^[^\n]+\n$/);
  });

  it('keeps what it learned when it is told where the frames come from; taught lists, exports and deletes it', async () => {
    const where = [
      '--service',
      'ffe0',
      '--characteristic',
      'FFE1',
      '--name',
      'DMM',
      '--title',
      'Bench meter',
    ];
    const data = ['--data', path.join(folder, 'data')];
    const save = ['meters', 'teach', file('save.jsonl', five), '--save', ...data];
    const refused = await runCommand(save);
    expect([refused.code, refused.stderr]).toEqual([
      2,
      '--save needs --service and --characteristic, so that no other meter is taken for it.\n',
    ]);
    const kept = await runCommand([...save, ...where]);
    expect(kept.code).toBe(0);
    const id = /Kept as (\w+);/.exec(kept.stderr)![1]!;
    const list = await runCommand(['meters', 'taught', ...data]);
    expect(list.stdout).toContain(`${id}  `);
    expect(list.stdout).toContain(
      'Bench meter (characteristic 0000ffe1-0000-1000-8000-00805f9b34fb, named "DMM...")',
    );

    const exported = await runCommand(['meters', 'taught', 'export', id, ...data]);
    const again = file('exported.json', [exported.stdout]);
    const other = ['--data', path.join(folder, 'other')];
    const imported = await runCommand(['meters', 'taught', 'import', again, ...other]);
    expect(imported.code).toBe(0);
    const there = await runCommand(['meters', 'taught', '--json', ...other]);
    const listed = JSON.parse(there.stdout) as { description: unknown }[];
    expect(listed.map((t) => t.description)).toEqual([JSON.parse(exported.stdout)]);

    await runCommand(['meters', 'taught', 'delete', id, ...data]);
    expect((await runCommand(['meters', 'taught', ...data])).stdout).toBe('No meter has been taught.\n');
    expect((await runCommand(['meters', 'taught', 'import', file('no.json', ['{}']), ...data])).code).toBe(2);
  });

  it.each([[['meters', 'teach']], [['meters', 'teach', 'a', 'b']], [['meters', 'teach', '/no/such/file']]])(
    'refuses %j',
    async (argv) => {
      const { code, stdout, stderr } = await runCommand(argv);
      expect([code, stdout]).toEqual([2, '']);
      expect(stderr).toMatch(/^[^\n]+\n$/);
    },
  );
});
