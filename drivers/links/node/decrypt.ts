import { createDecipheriv } from 'node:crypto';
import type { Decrypt } from '../../core/driver.ts';

/** AES-128-CCM without associated data; the length of the code is that of `mic`. */
export const decryptCcm: Decrypt = (key, nonce, ciphertext, mic) => {
  const decipher = createDecipheriv('aes-128-ccm', key, nonce, { authTagLength: mic.length });
  decipher.setAuthTag(mic);
  try {
    const plain = decipher.update(ciphertext);
    decipher.final(); // throws where the code does not fit
    return new Uint8Array(plain);
  } catch {
    return null;
  }
};
