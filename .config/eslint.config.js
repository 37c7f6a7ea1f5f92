import path from 'node:path';
import { createTypeScriptImportResolver } from 'eslint-import-resolver-typescript';
import { importX } from 'eslint-plugin-import-x';
import tseslint from 'typescript-eslint';
import { ROOMS } from './rooms.js';

const root = path.resolve(import.meta.dirname, '..');
const ALL_PACKAGES = [
  'node:*',
  'express',
  'socket.io',
  'socket.io-client',
  '@abandonware/noble',
  'uplot',
  'zod',
  'better-sqlite3',
  'idb',
  'fflate',
  'minizlib',
  'hyparquet-writer',
  '@cantoo/pdf-lib',
  '@noble/*',
  'preact',
  'preact/*',
  'vitest',
  'playwright-core',
  'fast-check',
];

/** The arrows: a room's files may import themselves and what the table names, nothing else of ours. */
const arrows = ROOMS.map(({ room, mayImport, packages }) => ({
  files: [`${room}/**/*.{ts,tsx}`],
  plugins: { 'import-x': importX },
  settings: {
    'import-x/resolver-next': [createTypeScriptImportResolver({ project: `${root}/tests/tsconfig.json` })],
  },
  rules: {
    'import-x/no-restricted-paths': [
      'error',
      {
        basePath: root,
        zones: [
          {
            target: `./${room}`,
            from: ['./drivers', './server', './web', './tests', './recordings'].flatMap((top) =>
              [room, ...mayImport].some((r) => r.startsWith(`${top.slice(2)}/`)) ? [] : [top],
            ),
            message: `${room} may import only: ${mayImport.join(', ') || 'nothing outside itself'} (.config/rooms.js).`,
          },
          ...['drivers', 'server', 'web'].flatMap((top) => {
            const except = [room, ...mayImport]
              .filter((r) => r.startsWith(`${top}/`))
              .map((r) => `./${r.slice(top.length + 1)}`);
            return except.length === 0
              ? []
              : [
                  {
                    target: `./${room}`,
                    from: `./${top}`,
                    except,
                    message: `${room} may import only: ${mayImport.join(', ')} (.config/rooms.js).`,
                  },
                ];
          }),
        ].filter((z) => !Array.isArray(z.from) || z.from.length > 0),
      },
    ],
    '@typescript-eslint/no-restricted-imports': [
      'error',
      {
        patterns: [
          {
            group: ALL_PACKAGES.filter((p) => !packages.includes(p) && !packages.some((q) => q === `${p}/*`)),
            message: `${room} may use only these packages: ${packages.join(', ') || 'none'} (.config/rooms.js).`,
          },
        ],
      },
    ],
  },
}));

/** Pure rooms take clock and randomness as parameters. The compiler already hides Node and the DOM from them. */
const purity = {
  files: ROOMS.filter((r) => r.pure).map((r) => `${r.room}/**/*.ts`),
  rules: {
    'no-restricted-properties': [
      'error',
      { object: 'Math', property: 'random', message: 'A pure room takes randomness as a parameter.' },
      { object: 'Date', property: 'now', message: 'A pure room takes a Clock as a parameter.' },
    ],
    'no-restricted-globals': [
      'error',
      ...[
        'process',
        'performance',
        'console',
        'crypto',
        'setTimeout',
        'setInterval',
        'fetch',
        'window',
        'document',
        'navigator',
        'Buffer',
        'globalThis',
      ].map((name) => ({
        name,
        message: 'A pure room has no I/O, no clock and no globals of Node or the DOM.',
      })),
    ],
    'no-restricted-syntax': [
      'error',
      {
        selector: "NewExpression[callee.name='Date'][arguments.length=0]",
        message: 'A pure room takes a Clock as a parameter.',
      },
    ],
  },
};

export default tseslint.config(
  { ignores: ['**/node_modules/**', '.build/**', '**/*.js', '**/*.mjs', '**/*.cjs'] },
  ...tseslint.configs.recommendedTypeChecked,
  {
    languageOptions: { parserOptions: { projectService: true, tsconfigRootDir: root } },
    linterOptions: { reportUnusedDisableDirectives: 'error' },
    rules: {
      '@typescript-eslint/consistent-type-imports': 'error',
      '@typescript-eslint/switch-exhaustiveness-check': 'error',
      '@typescript-eslint/no-non-null-assertion': 'off',
      '@typescript-eslint/prefer-readonly': 'error',
      '@typescript-eslint/require-await': 'off',
      '@typescript-eslint/unbound-method': 'off',
      '@typescript-eslint/no-unused-vars': ['error', { argsIgnorePattern: '^_', varsIgnorePattern: '^_' }],
      'no-console': 'off',
      eqeqeq: 'error',
    },
  },
  ...arrows,
  purity,
);
