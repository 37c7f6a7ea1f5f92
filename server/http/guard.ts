import type { IncomingMessage } from 'node:http';

/**
 * Why a request is refused, or null where it may pass. The same rule guards HTTP and the socket.
 *
 * The Host must name the very address and port that the connection came in on: a page whose name was
 * re-bound to this machine by DNS sends its own name instead (RFC 9110, 7.2: the server rejects a Host it
 * does not answer for; RFC 9112, 3.2: exactly one Host). A foreign page gives itself away by its Origin
 * (RFC 6454, 7; Fetch, "Origin header"; RFC 6455, 10.2 for the socket) or by Sec-Fetch-Site (W3C Fetch
 * Metadata); programs that are no browsers send neither.
 */
export function refusalOf(request: IncomingMessage): string | null {
  const hosts = request.headersDistinct.host ?? [];
  const host = hosts[0]?.toLowerCase();
  if (host === undefined || hosts.length !== 1 || !ownHosts(request).includes(host))
    return 'This server answers only to its own address; open the one it printed when it started.';
  const origin = request.headers.origin;
  if (origin !== undefined && origin.toLowerCase() !== `http://${host}`)
    return 'Only a page of this server may do that.';
  const site = request.headers['sec-fetch-site'];
  const foreign = site !== undefined && site !== 'same-origin' && site !== 'none';
  if (foreign && !isVisit(request)) return 'Only a page of this server may do that.';
  return null;
}

/** Following a link to the page itself is allowed from anywhere; it changes nothing and is not framed. */
function isVisit(request: IncomingMessage): boolean {
  return (
    request.method === 'GET' &&
    request.headers['sec-fetch-mode'] === 'navigate' &&
    request.headers['sec-fetch-dest'] === 'document' &&
    !/^\/(api|socket\.io)(\/|\?|$)/.test(request.url ?? '')
  );
}

/** The ways to write the address that this connection came in on. */
function ownHosts({ socket }: IncomingMessage): string[] {
  const address = (socket.localAddress ?? '').replace(/^::ffff:/, '');
  const names = [address.includes(':') ? `[${address}]` : address];
  if (address === '::1' || address.startsWith('127.')) names.push('localhost');
  return names.flatMap((name) => {
    const withPort = `${name}:${socket.localPort}`;
    return socket.localPort === 80 ? [name, withPort] : [withPort];
  });
}
