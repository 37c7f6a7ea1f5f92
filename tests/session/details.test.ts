import { describe, expect, it } from 'vitest';
import type { MeterDetails } from '../../drivers/core/driver.ts';
import { LinkError } from '../../drivers/core/errors.ts';
import type { Connection } from '../../drivers/core/link.ts';
import { uuid16 } from '../../drivers/core/uuid.ts';
import { detailsDiffer, detailsText, readDetails, saysNothing } from '../../drivers/session/details.ts';
import { createAbort } from '../../drivers/core/abort.ts';
import { ManualClock } from '../helpers/manualClock.ts';

const NOTHING: MeterDetails = { maker: null, model: null, serial: null, firmware: null, cellPercent: null };
const text = (s: string): Uint8Array => new Uint8Array(Buffer.from(s));
type Value = Uint8Array | 'refuses' | 'hangs';

function connectionWith(values: Readonly<Record<number, Value>>): Connection {
  const service = uuid16(0x180a);
  return {
    meter: { id: 'm', name: 'M', rssi: null, services: [] },
    characteristics: Object.keys(values).map((short) => ({
      service,
      characteristic: uuid16(Number(short)),
      index: 0,
      canRead: true,
      canNotify: false,
      canWrite: false,
      descriptors: [],
    })),
    read(ref) {
      const value = values[parseInt(ref.characteristic.slice(4, 8), 16)]!;
      if (value === 'hangs') return new Promise(() => undefined);
      return value === 'refuses'
        ? Promise.reject(new LinkError('refused', 'Blocked.'))
        : Promise.resolve(value);
    },
    readDescriptor: () => Promise.reject(new LinkError('refused', '')),
    write: () => Promise.resolve(),
    subscribe: () => Promise.resolve(),
    onDropped: () => undefined,
    close: () => Promise.resolve(),
  };
}

async function detailsOf(values: Readonly<Record<number, Value>>): Promise<[MeterDetails, number]> {
  const clock = new ManualClock();
  const reading = readDetails(connectionWith(values), { clock, ms: 5000, signal: createAbort().signal });
  let endedMs = -1;
  void reading.then(() => (endedMs = clock.nowMs()));
  await clock.advance(10_000);
  return [await reading, endedMs];
}

describe('what a meter says of itself', () => {
  // Characteristics of the Device Information and Battery services (SIG Assigned Numbers).
  it('is maker, model, serial, firmware and its own cell', async () => {
    const [details] = await detailsOf({
      0x2a29: text('Bench works\0'),
      0x2a24: text(' BW-1\u200b\n'),
      0x2a25: text('00017'),
      0x2a26: text('1.4 \u00b5'),
      0x2a19: Uint8Array.of(87),
    });
    expect(details).toEqual({
      maker: 'Bench works',
      model: 'BW-1',
      serial: '00017',
      firmware: '1.4 \u00b5',
      cellPercent: 87,
    });
  });

  it('is nothing where it offers nothing, and that is no error', async () => {
    const [details] = await detailsOf({});
    expect(details).toEqual(NOTHING);
    expect(saysNothing(details)).toBe(true);
  });

  it('may be refused in part, as browsers refuse the serial number', async () => {
    const [details] = await detailsOf({ 0x2a25: 'refuses', 0x2a26: text('2'), 0x2a19: Uint8Array.of(101) });
    expect(details).toEqual({ ...NOTHING, firmware: '2' });
    expect(saysNothing(details)).toBe(false);
  });

  it('is given up when its time is over, with what has come so far', async () => {
    const [details, endedMs] = await detailsOf({
      0x2a29: text('Bench works'),
      0x2a24: 'hangs',
      0x2a26: text('2'),
    });
    expect(details).toEqual({ ...NOTHING, maker: 'Bench works' });
    expect(endedMs).toBe(5000);
  });

  it('is shown without bytes that are no text, and not at any length', async () => {
    const [details] = await detailsOf({
      0x2a29: Uint8Array.of(0xc3, 0x28),
      0x2a24: text('x'.repeat(300)),
      0x2a25: Uint8Array.of(0, 0),
    });
    expect(details).toEqual({ ...NOTHING, maker: '\u00c3(', model: 'x'.repeat(60) });
  });
});

describe('the sentence about a meter', () => {
  it('names what is known and leaves out the rest', () => {
    expect(detailsText({ ...NOTHING, cellPercent: 4 })).toBe('Its own cell at 4 %.');
    expect(detailsText({ ...NOTHING, model: 'BW-1', serial: '17' })).toBe('Model BW-1, serial number 17.');
  });

  it('is news when anything but a little of the charge has changed', () => {
    const before = { ...NOTHING, firmware: '1.4', cellPercent: 90 };
    expect(detailsDiffer(before, { ...before, cellPercent: 86 })).toBe(false);
    expect(detailsDiffer(before, { ...before, cellPercent: 85 })).toBe(true);
    expect(detailsDiffer(before, { ...before, cellPercent: null })).toBe(true);
    expect(detailsDiffer(before, { ...before, firmware: '1.5' })).toBe(true);
  });
});
