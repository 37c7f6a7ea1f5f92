/** What the link page (tests/browser/pages/linkPage.ts) and the test process say to each other. */
export interface RemoteError {
  readonly code: string;
  readonly message: string;
}
export type RemoteResult<T> = { readonly value: T } | { readonly error: RemoteError };

export type RemoteEvent =
  | { readonly kind: 'seen'; readonly call: number; readonly meter: unknown }
  | { readonly kind: 'found'; readonly call: number; readonly result: RemoteResult<null> }
  | {
      readonly kind: 'bytes';
      readonly connection: number;
      readonly listener: number;
      readonly bytes: number[];
      readonly atMs: number;
    }
  | { readonly kind: 'dropped'; readonly connection: number; readonly reason: string };
