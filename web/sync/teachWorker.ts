import { config } from 'zod';
import type { TeachingGlance } from '../../drivers/teach/teach.ts';

// A worker of the page: the search takes up to two seconds, in which frames go on arriving and are shown.
// The content security policy refuses what zod would compile, so that is said before any schema is built.
config({ jitless: true });

self.onmessage = ({ data }: MessageEvent<readonly TeachingGlance[]>) => {
  void import('../../drivers/teach/teach.ts').then(({ teach }) => self.postMessage(teach(data)));
};
