import './no-eval.ts';
import './styles/palette.css';
import './styles/base.css';
import './styles/shell.css';
import './styles/controls.css';
import './styles/forms.css';
import './styles/lists.css';
import './styles/texts.css';
import './styles/dial.css';
import './styles/night.css';
import './styles/chart.css';
import './styles/live.css';
import './styles/fuses.css';
import './styles/case.css';
import { render } from 'preact';
import { Page } from './pages/index.tsx';
import { applyPreferences } from './parts/preferences.ts';
import { ServicesProvider } from './parts/services.ts';
import { createApi } from './state/api.ts';
import { LiveBoard } from './state/live.ts';
import { createSync } from './sync/index.ts';

applyPreferences();
const board = new LiveBoard();
const sync = createSync();
sync.onReadings((readings) => board.take(readings));
// An empty list is a page that has not heard yet, or a server that is away: nothing is forgotten for it.
sync.onMeters((meters) => {
  if (meters.length > 0) board.keepOnly(new Set(meters.map((m) => m.key)));
});
const api = createApi((path, init) => fetch(path, init as RequestInit));

// Only the built page: the files of one that is being worked on change without a new name.
if (import.meta.env.PROD && 'serviceWorker' in navigator)
  navigator.serviceWorker.register('./sw.js').catch(() => undefined);

render(
  <ServicesProvider value={{ api, sync, board }}>
    <Page />
  </ServicesProvider>,
  document.getElementById('app')!,
);
