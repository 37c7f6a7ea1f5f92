/** Colours and type of the page, read from its custom properties so that the palette has one home. */
export interface ChartTheme {
  readonly ink: string;
  readonly quiet: string;
  readonly rule: string;
  readonly ground: string;
  readonly volt: string;
  readonly amp: string;
  readonly sleep: string;
  readonly wake: string;
  readonly poll: string;
  readonly log: string;
  readonly act: string;
  readonly font: string;
  /** CSS pixels of one rem; axes grow with the reader's text size. */
  readonly rem: number;
}

export function readTheme(host: Element): ChartTheme {
  const style = getComputedStyle(host);
  const get = (name: string): string => style.getPropertyValue(name).trim();
  const rem = parseFloat(getComputedStyle(document.documentElement).fontSize) || 16;
  return {
    ink: get('--ink'),
    quiet: get('--ink-2'),
    rule: get('--rule'),
    ground: get('--ground'),
    volt: get('--volt'),
    amp: get('--amp'),
    sleep: get('--sleep'),
    wake: get('--wake'),
    poll: get('--poll'),
    log: get('--log'),
    act: get('--act'),
    font: `${Math.round(rem * 0.8)}px ${style.fontFamily}`,
    rem,
  };
}

/** Calls back when the page's colours change, by its own switch or the system's. */
export function onThemeChange(run: () => void): () => void {
  const seen = new MutationObserver(run);
  seen.observe(document.documentElement, { attributes: true, attributeFilter: ['data-theme'] });
  return () => seen.disconnect();
}

/** A colour with an opacity, for fills. Takes the palette's six-digit form. */
export function faded(hex: string, alpha: number): string {
  const n = parseInt(hex.slice(1), 16);
  return `rgba(${(n >> 16) & 255}, ${(n >> 8) & 255}, ${n & 255}, ${alpha})`;
}

/** Width of the value axis in CSS pixels; the rows of marks above the chart use the same. */
export function axisWidth(rem: number): number {
  return Math.round(rem * 4.25);
}
