import type { RequestHandler } from 'express';

/**
 * Nothing but this server's own files (Content Security Policy Level 3); no inline script, no frames, no
 * plug-ins. Images may also be made by the page itself (blob:), for a chart that is saved as a picture.
 */
export const CONTENT_SECURITY_POLICY = [
  "default-src 'none'",
  "script-src 'self'",
  "style-src 'self'",
  "img-src 'self' blob:",
  "font-src 'self'",
  "connect-src 'self'",
  "manifest-src 'self'",
  "worker-src 'self'",
  "base-uri 'none'",
  "form-action 'none'",
  "frame-ancestors 'none'",
].join('; ');

export const SECURITY_HEADERS: Readonly<Record<string, string>> = {
  'Content-Security-Policy': CONTENT_SECURITY_POLICY,
  'X-Content-Type-Options': 'nosniff',
  'X-Frame-Options': 'DENY',
  'Referrer-Policy': 'no-referrer',
  'Cross-Origin-Opener-Policy': 'same-origin',
  'Cross-Origin-Resource-Policy': 'same-origin',
  'Permissions-Policy':
    'bluetooth=(self), screen-wake-lock=(self), camera=(), geolocation=(), microphone=(), payment=(), usb=()',
};

export const securityHeaders: RequestHandler = (_request, response, next) => {
  response.set(SECURITY_HEADERS);
  next();
};
