import { existsSync, mkdirSync, readdirSync, readFileSync, writeFileSync } from 'node:fs';
import path from 'node:path';
import { gunzipSync, gzipSync } from 'node:zlib';
import { describe, expect, it } from 'vitest';
import { DEMO_NIGHTS, demoFiles } from '../helpers/demoNights.ts';

const RECORDINGS = path.resolve(import.meta.dirname, '../../recordings');
const WRITE = process.env['WRITE_RECORDINGS'] === '1';

/** Zlib's output may differ between versions of Node, so what counts is the text within. */
function stored(file: string): string {
  return file.endsWith('.gz') ? gunzipSync(readFileSync(file)).toString() : readFileSync(file, 'utf8');
}

function write(file: string, text: string): void {
  if (existsSync(file) && stored(file) === text) return;
  mkdirSync(path.dirname(file), { recursive: true });
  writeFileSync(file, file.endsWith('.gz') ? gzipSync(text, { level: 9 }) : text);
}

describe('the virtual car makes the demo nights again, byte for byte', () => {
  it.each(DEMO_NIGHTS)('$folder', (demo) => {
    const files = Object.entries(demoFiles(demo));
    for (const [name, text] of files) {
      const file = path.join(RECORDINGS, demo.folder, name === 'night.csv' ? 'night.csv.gz' : name);
      if (WRITE) write(file, text);
      expect(stored(file) === text, `${file} is not what the virtual car makes now`).toBe(true);
    }
    expect(readdirSync(path.join(RECORDINGS, demo.folder))).toHaveLength(files.length);
  });
});
