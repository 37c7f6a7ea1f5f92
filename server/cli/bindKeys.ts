import { decryptCcm } from '../../drivers/links/node/decrypt.ts';
import { openBindKeys, type BindKeys } from '../capture/bindKeys.ts';

/** The data folder's bind keys, with this computer's AES. @throws NightdrawError when the file cannot be read */
export function readBindKeys(folder: string): BindKeys {
  return openBindKeys(folder, decryptCcm);
}
