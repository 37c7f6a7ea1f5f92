import { channelKey } from '../../core/channelKey.ts';
import {
  sameRef,
  type Driver,
  type MeterChannel,
  type MeterProfile,
  type MeterReader,
} from '../../core/driver.ts';
import { DriverError } from '../../core/errors.ts';
import type { CharacteristicRef } from '../../core/link.ts';
import type { Quantity, Reading } from '../../core/reading.ts';
import { shortOf, uuid16 } from '../../core/uuid.ts';
import { asciiDigits } from '../ascii-digits/framing.ts';
import { lcdSegments } from '../lcd-segments/framing.ts';
import { textLines } from '../text-lines/framing.ts';
import type { Framer, Framing } from './framing.ts';

const framings = (unitless: Quantity | null): readonly Framing[] => [
  lcdSegments,
  asciiDigits,
  textLines(unitless),
];

/** So many whole frames of one framing in a row settle which it is; a chance match is one in thousands. */
const FRAMES_TO_SETTLE = 2;
/** Octets after which a stream without one whole frame is called unknown: several of the longest frames. */
const PATIENCE_OCTETS = 64;

/** The UART-style service that many modules offer; 0002 is written to, 0003 notifies. */
export const UART_SERVICE = '6e400001-b5a3-f393-e0a9-e50e24dcca9e';
export const UART_WRITE = '6e400002-b5a3-f393-e0a9-e50e24dcca9e';
export const UART_NOTIFY = '6e400003-b5a3-f393-e0a9-e50e24dcca9e';

/** SIG services and characteristics have layouts of their own and are never taken for a plain stream. */
function isAssigned(ref: CharacteristicRef): boolean {
  const service = shortOf(ref.service);
  return service !== null && service >= 0x1800 && service < 0x1900;
}

/**
 * Meters that send a plain stream of octets over a notifying characteristic. Which framing it is shows in
 * the stream itself; until two frames of one kind have come, nothing is reported.
 */
function createByteStream(unitless: Quantity | null): Driver {
  return {
    id: 'byte-stream',
    title: 'Plain stream of a meter chip or of text lines',
    services: [
      { uuid: UART_SERVICE, advertised: true },
      { uuid: uuid16(0xfff0), advertised: true }, // unassigned numbers that serial modules commonly use; common practice, no source
      { uuid: uuid16(0xffe0), advertised: true },
    ],
    lastResort: true,
    open(profile): MeterReader | null {
      const streams = profile.characteristics.filter(
        (c) => c.canNotify && !isAssigned(c) && c.presentationFormat === null,
      );
      const [source] = streams.filter((c) => c.characteristic === UART_NOTIFY).concat(streams);
      if (!source) return null;
      const ref = { service: source.service, characteristic: source.characteristic, index: source.index };
      const channel = (quantity: 'voltage' | 'current', label: string): MeterChannel => ({
        key: `${channelKey(ref.characteristic, [])}.${quantity}`,
        quantity,
        label,
        source: ref,
        step: null,
      });
      const channels = [channel('voltage', 'Voltage'), channel('current', 'Current')];
      const queryTo = questionsTo(profile, ref);
      const read = settling(framings(unitless));
      return {
        channels,
        sources: [ref],
        pollMs: 500,
        ...(queryTo ? { queryTo } : {}),
        read(from, bytes) {
          if (!sameRef(from, ref))
            throw new DriverError('unknown-characteristic', 'Not the stream of this meter.');
          return read(bytes).map((reading) => ({
            key: channels.find((c) => c.quantity === reading.quantity)!.key,
            reading,
          }));
        },
      };
    },
    withUnitless: createByteStream,
  };
}

/** Without a word on what a bare number means. */
export const byteStream = createByteStream(null);

/** What can be written to beside the stream: the UART-style partner, or whatever its service offers. */
function questionsTo(profile: MeterProfile, stream: CharacteristicRef): CharacteristicRef | null {
  const writable = profile.characteristics.filter((c) => c.canWrite && c.service === stream.service);
  const [to] = writable.filter((c) => c.characteristic === UART_WRITE).concat(writable);
  return to ? { service: to.service, characteristic: to.characteristic, index: to.index } : null;
}

/** Tries the framings side by side until one has settled, then uses that one alone. */
function settling(framings: readonly Framing[]): (bytes: Uint8Array) => Reading[] {
  let settled: Framer | null = null;
  let octets = 0;
  const candidates = framings.map((f) => ({ framer: f.create(), frames: 0 }));

  return (bytes) => {
    if (settled) return shown(settled.push(bytes));
    octets += bytes.length;
    for (const candidate of candidates) {
      try {
        const frames = candidate.framer.push(bytes);
        const before = candidate.frames;
        candidate.frames += frames.length;
        if (candidate.frames < FRAMES_TO_SETTLE) continue;
        settled = candidate.framer;
        // From the settling frame on, so that the result does not hang on where notifications were cut.
        return shown(frames.slice(FRAMES_TO_SETTLE - 1 - before));
      } catch (error) {
        if (!(error instanceof DriverError)) throw error;
        candidate.frames = 0;
      }
    }
    if (octets >= PATIENCE_OCTETS && candidates.every((c) => c.frames === 0)) {
      throw new DriverError('bad-field', 'Octets arrive, but in no form that Nightdraw knows yet.');
    }
    return [];
  };
}

function shown(frames: readonly (Reading | null)[]): Reading[] {
  return frames.filter((r) => r !== null);
}
