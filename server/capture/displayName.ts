const LONGEST = 120;

/** A name as the air gave it, made fit to be shown: no control or formatting characters, not too long. */
export function displayName(name: string): string {
  return name.replace(/\p{C}/gu, '').trim().slice(0, LONGEST);
}
