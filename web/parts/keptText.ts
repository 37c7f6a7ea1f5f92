/** Texts that outlive a reload, where this browser gives the page storage; without it they last as long as the page. */
export const keptText = {
  get(key: string): string | null {
    try {
      return localStorage.getItem(key);
    } catch {
      return null;
    }
  },
  /** Null takes it away. */
  set(key: string, text: string | null): void {
    try {
      if (text === null) localStorage.removeItem(key);
      else localStorage.setItem(key, text);
    } catch {
      // Storage is refused in some private windows, and full in others.
    }
  },
};
