/**
 * Watches for the page going away: `onHide` whenever it is hidden, shown or unloaded, since the page may not
 * come back; and the browser asks before it closes a page for which `isNeeded` holds.
 * @returns what ends the watch
 */
export function watchPage(hooks: { onHide(): void; isNeeded(): boolean }): () => void {
  const onHide = (): void => hooks.onHide();
  const onBeforeUnload = (event: BeforeUnloadEvent): void => {
    if (hooks.isNeeded()) event.preventDefault();
  };
  document.addEventListener('visibilitychange', onHide);
  window.addEventListener('pagehide', onHide);
  window.addEventListener('beforeunload', onBeforeUnload);
  return () => {
    document.removeEventListener('visibilitychange', onHide);
    window.removeEventListener('pagehide', onHide);
    window.removeEventListener('beforeunload', onBeforeUnload);
  };
}
