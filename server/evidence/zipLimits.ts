/** What the writer never passes and the reader never takes. */

export const COMMENT = 'nightdraw sha256 ';
export const COMMENT_LENGTH = COMMENT.length + 64;
export const MOST_MEMBERS = 20_000;
/** Deflate packs no more than 1032 : 1; samples pack about 10 : 1. */
export const MOST_RATIO = 100;
export const FREE_OCTETS = 1 << 20;
export const MOST_OCTETS = 1 << 30;
