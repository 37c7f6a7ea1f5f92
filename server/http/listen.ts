import type { Server } from 'node:http';
import type { AddressInfo } from 'node:net';

export const LOOPBACK = '127.0.0.1';
const ALL_ADDRESSES = '0.0.0.0';

/**
 * Listens on this computer only, or with `lan` on all its network addresses; port 0 takes any free one.
 * @returns the port
 * @throws Error with `code` EADDRINUSE, EACCES, ...
 */
export function listen(server: Server, port: number, lan: boolean): Promise<number> {
  return new Promise((resolve, reject) => {
    server.once('error', reject);
    server.listen(port, lan ? ALL_ADDRESSES : LOOPBACK, () => {
      server.off('error', reject);
      resolve((server.address() as AddressInfo).port);
    });
  });
}
