import { config } from 'zod';

// Imported before any schema is built: zod would otherwise try to compile its checks with `new Function`,
// which the content security policy refuses and reports.
config({ jitless: true });
