/** Which signs a font has. */
export type Repertoire = (sign: string) => boolean;

/** Signs beyond Latin-1 that the PDF's built-in fonts have (Windows code page 1252). */
const MORE = new Set(
  '\u20ac\u201a\u0192\u201e\u2026\u2020\u2021\u02c6\u2030\u0160\u2039\u0152\u017d\u2018\u2019\u201c\u201d\u2022\u2013\u2014\u02dc\u2122\u0161\u203a\u0153\u017e\u0178',
);

/** The built-in fonts of every PDF reader. */
export const builtIn: Repertoire = (sign) => {
  const code = sign.codePointAt(0)!;
  return (code >= 0x20 && code < 0x7f) || (code >= 0xa0 && code <= 0xff) || MORE.has(sign);
};

/** The text in signs that the font has: accents are dropped where need be, what is left becomes "?". */
export function printable(text: string, has: Repertoire = builtIn): string {
  let out = '';
  for (const sign of text.normalize('NFC')) {
    if (has(sign)) out += sign;
    else if (/\s/.test(sign)) out += ' ';
    else {
      const bare = sign.normalize('NFKD').replace(/\p{Mark}/gu, '');
      out += bare !== '' && [...bare].every(has) ? bare : '?';
    }
  }
  return out;
}

/** Whether every text anywhere in `value` can be printed as it is with the built-in fonts. */
export function isPlain(value: unknown): boolean {
  if (typeof value === 'string') {
    for (const sign of value.normalize('NFC')) if (!builtIn(sign) && !/\s/.test(sign)) return false;
    return true;
  }
  if (typeof value !== 'object' || value === null || ArrayBuffer.isView(value)) return true;
  return Object.values(value).every(isPlain);
}
