import './no-eval.ts';
import './styles/palette.css';
import './styles/base.css';
import './styles/shell.css';
import './styles/parts.css';
import './styles/night.css';
import './styles/live.css';
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
const api = createApi((path, init) => fetch(path, init));

render(
  <ServicesProvider value={{ api, sync, board }}>
    <Page />
  </ServicesProvider>,
  document.getElementById('app')!,
);
