/** Where in the page a person is. The address bar holds it behind '#', so that any server can serve one file. */
export type Route =
  | { readonly page: 'start' }
  | { readonly page: 'cases' }
  | { readonly page: 'case'; readonly id: string }
  /** `id` null: a new case. */
  | { readonly page: 'case-edit'; readonly id: string | null }
  | { readonly page: 'recordings' }
  | { readonly page: 'night'; readonly id: string }
  | { readonly page: 'compare'; readonly before: string; readonly after: string }
  /** `caseId`: the case that a recording started here belongs to. */
  | { readonly page: 'live'; readonly caseId: string | null }
  /** What is seen to before the car is left for the night, of a case or of none. */
  | { readonly page: 'preflight'; readonly caseId: string | null }
  /** The fuse walk of a case. */
  | { readonly page: 'fuses'; readonly caseId: string }
  | { readonly page: 'meters' }
  /** Teaching a meter that nothing reads. */
  | { readonly page: 'teach' }
  | { readonly page: 'help' }
  | { readonly page: 'verify' }
  | { readonly page: 'lost' };

/** The places of the main navigation, in the order shown, with the letter that goes there after "g". */
export const PLACES = [
  { page: 'start', label: 'Start', letter: 's' },
  { page: 'live', label: 'Live', letter: 'l' },
  { page: 'cases', label: 'Cases', letter: 'c' },
  { page: 'recordings', label: 'Recordings', letter: 'r' },
  { page: 'meters', label: 'Meters', letter: 'm' },
] as const;
export type Place = (typeof PLACES)[number]['page'];

const ID = /^[a-z0-9]{4,32}$/;

/** Reads the part of an address from '#' on; whatever it does not know is 'lost'. */
export function routeOf(hash: string): Route {
  const parts = hash
    .replace(/^#?\/?/, '')
    .split('/')
    .filter((p) => p !== '');
  const [first, second, third] = parts;
  if (first === undefined) return { page: 'start' };
  if (parts.length === 1) {
    if (
      first === 'cases' ||
      first === 'recordings' ||
      first === 'meters' ||
      first === 'teach' ||
      first === 'help' ||
      first === 'verify'
    )
      return { page: first };
    if (first === 'live' || first === 'preflight') return { page: first, caseId: null };
  }
  if (parts.length === 2 && first === 'cases' && second === 'new') return { page: 'case-edit', id: null };
  if (second === undefined || !ID.test(second)) return { page: 'lost' };
  if (parts.length === 2) {
    if (first === 'cases') return { page: 'case', id: second };
    if (first === 'recordings') return { page: 'night', id: second };
    if (first === 'live' || first === 'preflight') return { page: first, caseId: second };
  }
  if (parts.length === 3 && first === 'compare' && ID.test(third!))
    return { page: 'compare', before: second, after: third! };
  if (parts.length === 3 && first === 'cases' && third === 'fuses') return { page: 'fuses', caseId: second };
  if (parts.length === 3 && first === 'cases' && third === 'edit') return { page: 'case-edit', id: second };
  return { page: 'lost' };
}

export function hashOf(route: Route): string {
  switch (route.page) {
    case 'start':
    case 'lost':
      return '#/';
    case 'cases':
    case 'recordings':
    case 'meters':
    case 'teach':
    case 'help':
    case 'verify':
      return `#/${route.page}`;
    case 'case':
      return `#/cases/${route.id}`;
    case 'fuses':
      return `#/cases/${route.caseId}/fuses`;
    case 'case-edit':
      return route.id === null ? '#/cases/new' : `#/cases/${route.id}/edit`;
    case 'night':
      return `#/recordings/${route.id}`;
    case 'compare':
      return `#/compare/${route.before}/${route.after}`;
    case 'live':
    case 'preflight':
      return route.caseId === null ? `#/${route.page}` : `#/${route.page}/${route.caseId}`;
  }
}

/** The place of the main navigation that a route belongs to. */
export function placeOf(route: Route): Place | null {
  switch (route.page) {
    case 'start':
    case 'cases':
    case 'recordings':
    case 'live':
    case 'meters':
      return route.page;
    case 'case':
    case 'case-edit':
    case 'fuses':
      return 'cases';
    case 'preflight':
      return 'live';
    case 'teach':
      return 'meters';
    case 'night':
    case 'compare':
      return 'recordings';
    case 'help':
    case 'verify':
    case 'lost':
      return null;
  }
}
