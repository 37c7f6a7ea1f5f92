import { PHOTO_MOST_BYTES } from '../../server/messages/casePapers.ts';
import { ApiError } from '../state/api.ts';
import { photoSteps, sizeWithin } from '../state/photo.ts';

/**
 * Draws a picture anew, upright and small enough to send. The new file holds nothing of the old one but what is seen:
 * no place, no camera, no time.
 */
export async function shrinkPhoto(file: Blob): Promise<Uint8Array<ArrayBuffer>> {
  const picture = await createImageBitmap(file, { imageOrientation: 'from-image' }).catch(() => null);
  if (picture === null)
    throw new ApiError('unreadable-file', 'This browser cannot read that file as a picture.');
  try {
    for (const { edgePx, quality } of photoSteps()) {
      const blob = await drawn(picture, edgePx, quality);
      if (blob !== null && blob.size <= PHOTO_MOST_BYTES) return new Uint8Array(await blob.arrayBuffer());
    }
  } finally {
    picture.close();
  }
  throw new ApiError('too-large', 'That picture cannot be made small enough.');
}

function drawn(picture: ImageBitmap, edgePx: number, quality: number): Promise<Blob | null> {
  const canvas = document.createElement('canvas');
  const { widthPx, heightPx } = sizeWithin(picture.width, picture.height, edgePx);
  canvas.width = widthPx;
  canvas.height = heightPx;
  const pen = canvas.getContext('2d');
  if (pen === null) return Promise.resolve(null);
  // JPEG has no transparency: what is see-through becomes paper, not black.
  pen.fillStyle = '#fff';
  pen.fillRect(0, 0, widthPx, heightPx);
  pen.drawImage(picture, 0, 0, widthPx, heightPx);
  return new Promise((resolve) => canvas.toBlob(resolve, 'image/jpeg', quality));
}
