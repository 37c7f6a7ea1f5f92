/**
 * The rooms, what each may import, and which of them are pure. The linter turns this table into rules
 * (eslint.config.js) and tests/rooms/ proves that a wrong import is refused.
 */

const CORE = 'drivers/core';
const SAMPLES = 'server/samples';
const MESSAGES = 'server/messages';
const ANALYSIS = 'server/analysis';
const BATTERY = 'server/battery';
const SIMULATOR = 'server/simulator';
const EVIDENCE = 'server/evidence';
const REPORT = 'server/report';
const STORE = 'server/store';
const SEALING = 'server/sealing';
const CAPTURE = 'server/capture';
const TEACH = 'drivers/teach';
const METERS = 'drivers/meters';
const SESSION = 'drivers/session';
const REPLAY = 'drivers/links/replay';
const NODE_LINK = 'drivers/links/node';
const BROWSER_LINK = 'drivers/links/browser';

/** @type {{ room: string, pure: boolean, mayImport: string[], packages: string[] }[]} */
export const ROOMS = [
  { room: CORE, pure: true, mayImport: [], packages: [] },
  { room: TEACH, pure: true, mayImport: [CORE], packages: ['zod'] },
  { room: METERS, pure: true, mayImport: [CORE, TEACH], packages: [] },
  { room: SESSION, pure: true, mayImport: [CORE, METERS], packages: [] },
  { room: REPLAY, pure: true, mayImport: [CORE], packages: [] },
  { room: NODE_LINK, pure: false, mayImport: [CORE], packages: ['@abandonware/noble', 'node:*'] },
  { room: BROWSER_LINK, pure: false, mayImport: [CORE], packages: [] },
  { room: SAMPLES, pure: true, mayImport: [CORE], packages: [] },
  { room: MESSAGES, pure: true, mayImport: [CORE, TEACH, SAMPLES], packages: ['zod'] },
  { room: ANALYSIS, pure: true, mayImport: [CORE, SAMPLES, MESSAGES], packages: [] },
  { room: BATTERY, pure: true, mayImport: [CORE, SAMPLES, MESSAGES, ANALYSIS], packages: [] },
  { room: SIMULATOR, pure: true, mayImport: [CORE, METERS, REPLAY, SAMPLES, MESSAGES], packages: [] },
  {
    room: REPORT,
    pure: true,
    mayImport: [CORE, SAMPLES, MESSAGES, ANALYSIS, BATTERY],
    packages: ['@cantoo/pdf-lib', '@cantoo/fontkit'],
  },
  {
    room: EVIDENCE,
    pure: true,
    mayImport: [CORE, SAMPLES, MESSAGES, ANALYSIS, BATTERY],
    packages: ['fflate', 'zod'],
  },
  { room: STORE, pure: false, mayImport: [CORE, SAMPLES, MESSAGES], packages: ['better-sqlite3', 'node:*'] },
  {
    room: CAPTURE,
    pure: false,
    mayImport: [CORE, TEACH, METERS, SESSION, SAMPLES, MESSAGES, ANALYSIS, BATTERY, STORE],
    packages: ['node:*', 'minizlib', 'hyparquet-writer'],
  },
  {
    room: SEALING,
    pure: false,
    mayImport: [CORE, SAMPLES, MESSAGES, ANALYSIS, BATTERY, EVIDENCE, REPORT, STORE, CAPTURE],
    packages: ['node:*', 'tar', 'zod', 'dejavu-fonts-ttf'],
  },
  {
    room: 'server/http',
    pure: false,
    mayImport: [CORE, SAMPLES, MESSAGES, ANALYSIS, BATTERY, STORE, CAPTURE, SEALING],
    packages: ['express', 'zod', 'node:*'],
  },
  {
    room: 'server/live',
    pure: false,
    mayImport: [CORE, SAMPLES, MESSAGES, STORE, CAPTURE, 'server/http'],
    packages: ['socket.io', 'zod', 'node:*'],
  },
  {
    room: 'server/cli',
    pure: false,
    mayImport: [
      CORE,
      TEACH,
      METERS,
      SESSION,
      REPLAY,
      NODE_LINK,
      SAMPLES,
      MESSAGES,
      ANALYSIS,
      BATTERY,
      SIMULATOR,
      STORE,
      CAPTURE,
      EVIDENCE,
      REPORT,
      SEALING,
      'server/http',
      'server/live',
    ],
    packages: ['zod', 'node:*'],
  },
  {
    room: 'web/state',
    pure: true,
    mayImport: [CORE, TEACH, METERS, SESSION, SAMPLES, MESSAGES, ANALYSIS, BATTERY],
    packages: [],
  },
  { room: 'web/chart', pure: false, mayImport: [MESSAGES, SAMPLES, 'web/state'], packages: ['uplot'] },
  {
    room: 'web/sync',
    pure: false,
    mayImport: [CORE, TEACH, METERS, SESSION, BROWSER_LINK, SAMPLES, MESSAGES, 'web/state'],
    packages: ['socket.io-client', 'idb', 'zod'],
  },
  {
    room: 'web/parts',
    pure: false,
    mayImport: [CORE, MESSAGES, EVIDENCE, 'web/state', 'web/chart', 'web/sync'],
    packages: ['preact', 'preact/*', '@noble/*'],
  },
  { room: 'web/worker', pure: false, mayImport: [], packages: [] },
  {
    room: 'web/pages',
    pure: false,
    mayImport: [CORE, MESSAGES, EVIDENCE, 'web/state', 'web/chart', 'web/sync', 'web/parts'],
    packages: ['preact', 'preact/*'],
  },
];
