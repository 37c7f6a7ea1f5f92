import { existsSync } from 'node:fs';
import path from 'node:path';
import { ESLint } from 'eslint';
import ts from 'typescript';
import tseslint from 'typescript-eslint';
import { describe, expect, it } from 'vitest';
import { ROOMS } from '../../.config/rooms.js';

/** A deliberate wrong import or a stolen clock, written into a room, must be refused by linter or compiler. */
const root = path.resolve(import.meta.dirname, '../..');
const eslint = new ESLint({
  cwd: root,
  overrideConfigFile: path.join(root, '.config/eslint.config.js'),
  // The probe files do not exist on disk, so only the rules that need no types can look at them.
  overrideConfig: {
    languageOptions: { parserOptions: { projectService: false, project: null } },
    rules: tseslint.configs.disableTypeChecked.rules ?? {},
  },
});

async function complaints(file: string, text: string): Promise<string[]> {
  const [result] = await eslint.lintText(text, { filePath: path.join(root, file) });
  return (result?.messages ?? []).map((m) => m.ruleId ?? m.message);
}

describe('arrows between rooms', () => {
  it.each([
    [
      'drivers/core/probe.ts',
      "import type { SampleColumns } from '../../server/samples/columns.ts';\nexport type A = SampleColumns;\n",
    ],
    [
      'drivers/meters/probe.ts',
      "import { startSession } from '../session/session.ts';\nexport const a = startSession;\n",
    ],
    [
      'drivers/links/node/probe.ts',
      "import { createReplayLink } from '../replay/link.ts';\nexport const a = createReplayLink;\n",
    ],
    [
      'server/samples/probe.ts',
      "import { findingsSchema } from '../messages/findings.ts';\nexport const a = findingsSchema;\n",
    ],
    ['server/analysis/probe.ts', "import type { Store } from '../store/store.ts';\nexport type A = Store;\n"],
    [
      'server/store/probe.ts',
      "import { findNight } from '../battery/findings.ts';\nexport const a = findNight;\n",
    ],
    ['server/http/probe.ts', "import '../main.ts';\n"],
    [
      'web/state/probe.ts',
      "import type { Store } from '../../server/store/store.ts';\nexport type A = Store;\n",
    ],
    [
      'web/pages/probe.ts',
      "import { DRIVERS } from '../../drivers/meters/registry.ts';\nexport const a = DRIVERS;\n",
    ],
  ])('%s', async (file, text) => {
    expect(await complaints(file, text)).toContain('import-x/no-restricted-paths');
  });

  it.each([
    ['drivers/core/probe.ts', "import { z } from 'zod';\nexport const a = z;\n"],
    ['server/capture/probe.ts', "import noble from '@abandonware/noble';\nexport const a = noble;\n"],
    ['server/http/probe.ts', "import Database from 'better-sqlite3';\nexport const a = Database;\n"],
    ['web/pages/probe.ts', "import uPlot from 'uplot';\nexport const a = uPlot;\n"],
    ['server/analysis/probe.ts', "import { readFileSync } from 'node:fs';\nexport const a = readFileSync;\n"],
  ])('packages: %s', async (file, text) => {
    expect(await complaints(file, text)).toContain('@typescript-eslint/no-restricted-imports');
  });

  it('lets a right import pass', async () => {
    const text = "import { isLive } from '../../drivers/core/reading.ts';\nexport const a = isLive;\n";
    expect(await complaints('server/samples/probe.ts', text)).toEqual([]);
  });

  it('names only rooms that exist', () => {
    for (const { room } of ROOMS) expect(existsSync(path.join(root, room)), room).toBe(true);
  });
});

describe('purity', () => {
  it.each([
    ['Date.now()', 'no-restricted-properties'],
    ['Math.random()', 'no-restricted-properties'],
    ['new Date()', 'no-restricted-syntax'],
    ['setTimeout(() => 1, 1)', 'no-restricted-globals'],
    ['process.env', 'no-restricted-globals'],
  ])('the linter refuses %s in a pure room', async (expression, rule) => {
    expect(await complaints('server/analysis/probe.ts', `export const a = ${expression};\n`)).toContain(rule);
  });

  it.each(['drivers/tsconfig.json', 'server/tsconfig.pure.json', 'web/state/tsconfig.json'])(
    'the compiler knows neither Node nor the DOM under %s',
    (config) => {
      const parsed = ts.getParsedCommandLineOfConfigFile(
        path.join(root, config),
        {},
        {
          ...ts.sys,
          onUnRecoverableConfigFileDiagnostic: (d) => {
            throw new Error(ts.flattenDiagnosticMessageText(d.messageText, ' '));
          },
        },
      );
      const probe = path.join(root, path.dirname(config), 'probe.ts');
      const text = 'export const a = [setTimeout, document, process, fetch, console];\n';
      const host = ts.createCompilerHost(parsed!.options);
      const readSource = host.getSourceFile.bind(host);
      host.getSourceFile = (name, target) =>
        name === probe ? ts.createSourceFile(name, text, target) : readSource(name, target);
      const program = ts.createProgram([probe], parsed!.options, host);
      const unknown = program
        .getSemanticDiagnostics(program.getSourceFile(probe))
        .filter((d) => d.code === 2304 || d.code === 2584 || d.code === 2580 || d.code === 2591);
      expect(unknown).toHaveLength(5);
    },
  );
});
