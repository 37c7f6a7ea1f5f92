import type { JSX } from 'preact';
import type { Meter } from '../../server/messages/meters.ts';
import { displayFigure, figureLine } from '../state/figure.ts';
import { channelId, freshness } from '../state/live.ts';
import { addressOf } from '../state/meterSettings.ts';
import { isBusy, isOn, measuresText, signalWord, stateWord } from '../state/meters.ts';
import { BindKeyPart } from './bindKey.tsx';
import { Button } from './controls.tsx';
import { Fold } from './fold.tsx';
import { useAction, useTicker } from './hooks.ts';
import { MeterRecordPart } from './meterRecord.tsx';
import { useServices } from './services.ts';
import { Problem, Tag } from './words.tsx';
import { ZeroCheckPart } from './zeroCheck.tsx';

/** One meter: what it is, how it is, what it last said, and a switch where this screen may use it. */
export function MeterLine(p: {
  readonly meter: Meter;
  readonly note?: string;
  readonly onOn?: () => Promise<void>;
  readonly onOff?: () => Promise<void>;
}): JSX.Element {
  const { meter } = p;
  const action = useAction();
  // What a connected meter measures is said by its readings.
  const line = [isOn(meter) ? null : measuresText(meter), signalWord(meter.rssi), p.note].filter(Boolean);
  return (
    <li class="line meter">
      <strong class="line-main">{meter.name}</strong>
      <Tag kind={meter.state}>{stateWord(meter)}</Tag>
      {line.length > 0 && <p class="quiet">{line.join(' · ')}</p>}
      {meter.sentence !== '' && meter.state !== 'connected' && <p>{meter.sentence}</p>}
      {isOn(meter) && <Latest meter={meter} />}
      <div class="row">
        {!isOn(meter) && !isBusy(meter) && p.onOn && (
          <Button onPress={() => action.run(p.onOn!)} busy={action.busy} label={`Connect ${meter.name}`}>
            Connect
          </Button>
        )}
        {(isOn(meter) || isBusy(meter)) && p.onOff && (
          <Button onPress={() => action.run(p.onOff!)} busy={action.busy} label={`Disconnect ${meter.name}`}>
            Disconnect
          </Button>
        )}
      </div>
      <Problem sentence={action.problem} />
      <div class="meter-folds">
        {meter.state === 'connected' && meter.channels.length > 0 && (
          <Fold title="Zero check">
            <ZeroCheckPart meter={meter} />
          </Fold>
        )}
        <Fold title="Record of this meter">
          <MeterRecordPart meter={meter} />
        </Fold>
        {addressOf(meter) !== null && (
          <Fold title="Key of an encrypted broadcast">
            <BindKeyPart meter={meter} />
          </Fold>
        )}
      </div>
    </li>
  );
}

function Latest(p: { readonly meter: Meter }): JSX.Element {
  const { board, sync } = useServices();
  useTicker(2);
  const known = new Map(board.channels().map((c) => [c.id, c]));
  return (
    <dl class="latest">
      {p.meter.channels.map((c) => {
        const channel = known.get(channelId(p.meter.key, c.key)) ?? null;
        const state = freshness(channel, sync.serverNowMs());
        return (
          <div key={c.key} class={`${c.quantity} ${state}`}>
            <dt>{c.label}</dt>
            <dd>
              {channel === null || state === 'none'
                ? 'no reading yet'
                : figureLine(displayFigure(c.quantity, channel.text))}
              {state === 'old' && <span class="small quiet"> old</span>}
            </dd>
          </div>
        );
      })}
    </dl>
  );
}
