/** The light palette of the page (web/styles/palette.css), as the report prints it. */
export const INK = {
  ground: '#fffdf7',
  sunk: '#f6f2e7',
  ink: '#1a2130',
  ink2: '#4a5163',
  rule: '#d3cab4',
  edge: '#7d745f',
  lamp: '#1d2c52',
  volt: '#005f9e',
  amp: '#9f4d00',
  sleep: '#006a4c',
  poll: '#86349a',
  wake: '#6f5f00',
  act: '#a93400',
  watch: '#6f5f00',
  fine: '#006a4c',
  unknown: '#4a5163',
} as const;
