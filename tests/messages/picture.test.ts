import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { NightdrawError } from '../../server/messages/errors.ts';
import { readPicture } from '../../server/messages/picture.ts';
import { jpegWith, pngWith } from '../helpers/pictures.ts';

describe('a picture', () => {
  it('loses what tells place, camera and time, and nothing of what is seen', () => {
    expect([...readPicture(jpegWith({ exif: true })).octets]).toEqual([...jpegWith()]);
    expect([...readPicture(pngWith({ told: true })).octets]).toEqual([...pngWith()]);
    expect([...readPicture(jpegWith()).octets]).toEqual([...jpegWith()]);
  });

  it('says its own type and size', () => {
    expect(readPicture(jpegWith({ widthPx: 300, heightPx: 200 }))).toMatchObject({
      type: 'image/jpeg',
      widthPx: 300,
      heightPx: 200,
    });
    expect(readPicture(pngWith({ widthPx: 70_000, heightPx: 1 }))).toMatchObject({
      type: 'image/png',
      widthPx: 70_000,
      heightPx: 1,
    });
  });

  it('cut off anywhere is refused, never half read', () => {
    for (const whole of [jpegWith(), pngWith()])
      for (let n = 0; n < whole.length; n++)
        expect(() => readPicture(whole.subarray(0, n)), String(n)).toThrow(NightdrawError);
  });

  it('is nothing else by its name: only its octets count', () => {
    for (const other of ['GIF89a', '%PDF-1.7', 'RIFF\0\0\0\0WEBP', '<svg/>', ''])
      expect(() => readPicture(new TextEncoder().encode(other))).toThrow('only JPEG and PNG');
  });

  it('of any octets is read or refused, and what is read is read the same again', () => {
    const sampled = fc.oneof(
      fc.uint8Array({ maxLength: 80 }),
      fc
        .tuple(fc.constantFrom(jpegWith({ exif: true }), pngWith({ told: true })), fc.nat(), fc.nat(255))
        .map(([octets, at, octet]) => {
          const changed = Uint8Array.from(octets);
          changed[at % changed.length] = octet;
          return changed;
        }),
    );
    fc.assert(
      fc.property(sampled, (octets) => {
        try {
          const once = readPicture(octets);
          expect(readPicture(once.octets).octets).toEqual(once.octets);
        } catch (error) {
          expect(error).toBeInstanceOf(NightdrawError);
        }
      }),
      { numRuns: 2000, seed: 5 },
    );
  });
});
