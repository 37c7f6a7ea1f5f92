import { describe, expect, test } from 'vitest';
import { ATT, ATT_ERROR, attError } from './att.ts';
import { bench, droppedWith, failure, meter, SERVICE, STREAM, until, VALUE } from './fixture.ts';
import type { Misbehaviour } from './peripheral.ts';

const isType = (pdu: Buffer, type: number): boolean =>
  pdu[0] === ATT.readByTypeRequest && pdu.length === 7 && pdu.readUInt16LE(5) === type;

describe('a meter that misbehaves while it is being connected to', () => {
  const cases: readonly [string, Misbehaviour, readonly string[]][] = [
    ['never answers the MTU request', (p) => (p[0] === ATT.mtuRequest ? 'silent' : null), ['timed-out']],
    [
      'calls the MTU request invalid',
      (p) => (p[0] === ATT.mtuRequest ? attError(p[0], 0, 0x04) : null),
      ['timed-out'],
    ],
    ['hangs up during the discovery', (p) => (isType(p, 0x2803) ? 'hang-up' : null), ['dropped']],
    ['falls silent during the discovery', (p) => (isType(p, 0x2803) ? 'silent' : null), ['timed-out']],
  ];
  test.each(cases)('%s: an error in time, and the next connect works', async (_, misbehave, codes) => {
    const { rig, connect } = await bench([meter('a')]);
    const peripheral = rig.peripheral('a');
    peripheral.misbehave = misbehave;
    const fromMs = performance.now();
    expect(codes).toContain(await failure(connect('a', 1500)));
    expect(performance.now() - fromMs).toBeLessThan(4000);
    await until(() => !peripheral.isConnected);
    peripheral.misbehave = null;
    const connection = await connect('a');
    expect(await connection.read(VALUE)).toEqual(Uint8Array.of(7));
  });

  test('has no MTU exchange at all: it works with the smallest', async () => {
    const { rig, connect } = await bench([meter('a', new Uint8Array(60).fill(9))]);
    rig.peripheral('a').misbehave = (p) =>
      p[0] === ATT.mtuRequest ? attError(p[0], 0, ATT_ERROR.notSupported) : null;
    const connection = await connect('a');
    expect(await connection.read(VALUE)).toEqual(new Uint8Array(60).fill(9));
  });
});

describe('a meter that refuses', () => {
  test('has no switch for its notifications: refused at once', async () => {
    const { connect } = await bench([{ peer: meter('a'), clientConfiguration: false }]);
    const connection = await connect('a');
    expect(await failure(connection.subscribe(STREAM, () => undefined))).toBe('refused');
    expect(await connection.read(VALUE)).toEqual(Uint8Array.of(7));
  });

  const cases: readonly [string, Misbehaviour][] = [
    [
      'the switch',
      (p) =>
        p[0] === ATT.writeRequest ? attError(p[0], p.readUInt16LE(1), ATT_ERROR.writeNotPermitted) : null,
    ],
    [
      'reading the switch',
      (p) => (isType(p, 0x2902) ? attError(p[0]!, p.readUInt16LE(1), ATT_ERROR.readNotPermitted) : null),
    ],
    [
      'without pairing',
      (p) =>
        p[0] === ATT.writeRequest
          ? attError(p[0], p.readUInt16LE(1), ATT_ERROR.insufficientAuthentication)
          : null,
    ],
  ];
  test.each(cases)('%s: subscribing ends in time, and works later', async (_, misbehave) => {
    const { rig, connect } = await bench([meter('a')], { stepTimeoutMs: 700 });
    const peripheral = rig.peripheral('a');
    peripheral.misbehave = misbehave;
    const connection = await connect('a');
    const fromMs = performance.now();
    expect(await failure(connection.subscribe(STREAM, () => undefined))).toBe('timed-out');
    expect(performance.now() - fromMs).toBeLessThan(3000);
    await connection.close();
    peripheral.misbehave = null;
    const again = await connect('a');
    const got: Uint8Array[] = [];
    await again.subscribe(STREAM, (bytes) => got.push(bytes));
    peripheral.notify(STREAM, Uint8Array.of(1, 2));
    await until(() => got.length > 0);
    expect(got).toEqual([Uint8Array.of(1, 2)]);
  });

  test('a read: refused, not an empty value', async () => {
    const { rig, connect } = await bench([meter('a')]);
    rig.peripheral('a').misbehave = (p) =>
      p[0] === ATT.readRequest ? attError(p[0], p.readUInt16LE(1), ATT_ERROR.readNotPermitted) : null;
    const connection = await connect('a');
    expect(await failure(connection.read(VALUE))).toBe('refused');
  });

  test('an answer that never comes: the operations behind it end in time as well', async () => {
    const { rig, connect } = await bench([meter('a')], { stepTimeoutMs: 1000 });
    const connection = await connect('a');
    rig.peripheral('a').misbehave = (p) => (p[0] === ATT.readRequest ? 'silent' : null);
    const fromMs = performance.now();
    const three = [1, 2, 3].map(() => failure(connection.read(VALUE)));
    expect(await Promise.all(three)).toEqual(['timed-out', 'timed-out', 'timed-out']);
    expect(performance.now() - fromMs).toBeLessThan(2500);
    const dropped = droppedWith(connection);
    rig.peripheral('a').drop();
    expect(await dropped).toBe('The meter ended the connection.');
  });

  test('operations that are under way when the connection ends are told so at once', async () => {
    const { rig, connect } = await bench([meter('a')]);
    const connection = await connect('a');
    rig.peripheral('a').misbehave = (p) => (p[0] === ATT.readRequest ? 'hang-up' : null);
    expect(await failure(connection.read(VALUE))).toBe('dropped');
  });
});

describe('what a meter offers', () => {
  const long = Uint8Array.from({ length: 400 }, (_, i) => i & 0xff);
  test.each([23, 100, 247, 256, 517])('a value of 400 bytes is read whole at an MTU of %i', async (mtu) => {
    const { connect } = await bench([{ peer: meter('a', long), mtu }]);
    const connection = await connect('a');
    expect(await connection.read(VALUE)).toEqual(long);
  });

  test('two reads at once are two reads', async () => {
    let reads = 0;
    const { connect } = await bench([{ ...meter('a'), read: () => Uint8Array.of(++reads) }]);
    const connection = await connect('a');
    const both = await Promise.all([connection.read(VALUE), connection.read(VALUE)]);
    expect(both).toEqual([Uint8Array.of(1), Uint8Array.of(2)]);
  });

  test('indications arrive like notifications', async () => {
    const { rig, connect } = await bench([{ peer: meter('a'), indicates: true }]);
    const connection = await connect('a');
    const got: number[] = [];
    await connection.subscribe(STREAM, (bytes) => got.push(bytes[0]!));
    for (let i = 0; i < 5; i++) rig.peripheral('a').notify(STREAM, Uint8Array.of(i));
    await until(() => got.length === 5);
    expect(got).toEqual([0, 1, 2, 3, 4]);
  });

  test('short UUIDs come whole, and two services of one UUID are one list', async () => {
    const short = '00000fff-0000-1000-8000-00805f9b34fb';
    const value = '000000f1-0000-1000-8000-00805f9b34fb';
    const read = { canRead: true, canNotify: false, canWrite: false, descriptors: [], descriptorValues: [] };
    const refs = [
      { service: short, characteristic: value, index: 0 },
      { service: SERVICE, characteristic: value, index: 0 },
      { service: short, characteristic: value, index: 1 },
    ];
    const { connect } = await bench([
      {
        ...meter('a'),
        services: [short],
        characteristics: refs.map((ref) => ({ ...ref, ...read })),
        read: (ref) =>
          Uint8Array.of(refs.findIndex((r) => r.service === ref.service && r.index === ref.index)),
      },
    ]);
    const connection = await connect('a');
    expect(connection.meter.services).toEqual([short]);
    const listed = connection.characteristics.map(({ service, characteristic, index }) => ({
      service,
      characteristic,
      index,
    }));
    expect(listed).toEqual(refs);
    for (const [i, ref] of refs.entries()) expect(await connection.read(ref)).toEqual(Uint8Array.of(i));
  });
});
