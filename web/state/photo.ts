import { PHOTO_MOST_PIXELS, type PhotoKind } from '../../server/messages/casePapers.ts';

export const PHOTO_WORDS: Readonly<Record<PhotoKind, string>> = {
  'hook-up': 'Meter hook-up',
  display: 'Display',
  'battery-label': 'Battery label',
  other: 'Other',
};

/** Longest edge and JPEG quality, tried in this order until the file is small enough. */
export function photoSteps(): readonly { readonly edgePx: number; readonly quality: number }[] {
  return [
    { edgePx: 2000, quality: 0.86 },
    { edgePx: 2000, quality: 0.7 },
    { edgePx: 1400, quality: 0.7 },
    { edgePx: 900, quality: 0.6 },
  ];
}

/** A size of the same shape whose longest edge is at most `edgePx`; never larger than it was, never nothing. */
export function sizeWithin(
  width: number,
  height: number,
  edgePx: number,
): { readonly widthPx: number; readonly heightPx: number } {
  const scale = Math.min(1, Math.min(edgePx, PHOTO_MOST_PIXELS) / Math.max(width, height));
  return {
    widthPx: Math.max(1, Math.round(width * scale)),
    heightPx: Math.max(1, Math.round(height * scale)),
  };
}
