/** Colour arithmetic for the palette's tests. */

export type Rgb = readonly [number, number, number];

/** Linear-light sRGB, 0 to 1, from a six-digit colour (IEC 61966-2-1; WCAG 2.2, "relative luminance"). */
export function linear(hex: string): Rgb {
  const n = parseInt(hex.slice(1), 16);
  const part = (shift: number): number => {
    const c = ((n >> shift) & 255) / 255;
    return c <= 0.04045 ? c / 12.92 : ((c + 0.055) / 1.055) ** 2.4;
  };
  return [part(16), part(8), part(0)];
}

function luminance([r, g, b]: Rgb): number {
  return 0.2126 * r + 0.7152 * g + 0.0722 * b;
}

/** Contrast ratio of two colours, 1 to 21 (WCAG 2.2, "contrast ratio"). */
export function contrast(a: string, b: string): number {
  const [low, high] = [luminance(linear(a)), luminance(linear(b))].sort((x, y) => x - y) as [number, number];
  return (high + 0.05) / (low + 0.05);
}

/** Colour of `hex` at an opacity over `ground`, as the screen mixes it (in sRGB, not in linear light). */
export function over(hex: string, ground: string, alpha: number): string {
  const a = parseInt(hex.slice(1), 16);
  const b = parseInt(ground.slice(1), 16);
  const mix = [16, 8, 0].map((s) => Math.round(((a >> s) & 255) * alpha + ((b >> s) & 255) * (1 - alpha)));
  return `#${mix.map((c) => c.toString(16).padStart(2, '0')).join('')}`;
}

/** Dichromats' view in linear sRGB (Machado, Oliveira and Fernandes 2009, severity 1.0; matrices from memory). */
const VIEWS = {
  full: [1, 0, 0, 0, 1, 0, 0, 0, 1],
  protan: [0.152286, 1.052583, -0.204868, 0.114503, 0.786281, 0.099216, -0.003882, -0.048116, 1.051998],
  deutan: [0.367322, 0.860646, -0.227968, 0.280085, 0.672501, 0.047413, -0.01182, 0.04294, 0.968881],
  tritan: [1.255528, -0.076749, -0.178779, -0.078411, 0.930809, 0.147602, 0.004733, 0.691367, 0.3039],
} as const;
export type View = keyof typeof VIEWS;
export const VIEW_NAMES = Object.keys(VIEWS) as View[];

/** CIE 1976 colour difference of two colours as an eye sees them (D65). */
export function difference(a: string, b: string, view: View): number {
  const [l1, a1, b1] = lab(seen(linear(a), view));
  const [l2, a2, b2] = lab(seen(linear(b), view));
  return Math.hypot(l1 - l2, a1 - a2, b1 - b2);
}

function seen(rgb: Rgb, view: View): Rgb {
  const m = VIEWS[view];
  const row = (i: number): number =>
    Math.min(1, Math.max(0, m[i]! * rgb[0] + m[i + 1]! * rgb[1] + m[i + 2]! * rgb[2]));
  return [row(0), row(3), row(6)];
}

function lab([r, g, b]: Rgb): Rgb {
  const f = (t: number): number => (t > (6 / 29) ** 3 ? Math.cbrt(t) : t / (3 * (6 / 29) ** 2) + 4 / 29);
  const x = f((0.4124 * r + 0.3576 * g + 0.1805 * b) / 0.9505);
  const y = f(0.2126 * r + 0.7152 * g + 0.0722 * b);
  const z = f((0.0193 * r + 0.1192 * g + 0.9505 * b) / 1.089);
  return [116 * y - 16, 500 * (x - y), 200 * (y - z)];
}
