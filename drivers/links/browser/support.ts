/** What is asked of a page before Web Bluetooth can be used; `globalThis` has it in a page. */
export interface PageScope {
  readonly isSecureContext?: boolean;
  readonly navigator?: { readonly bluetooth?: Bluetooth };
}

export interface BrowserBluetooth {
  readonly available: boolean;
  /** One sentence that says what to do; empty where Web Bluetooth can be used. */
  readonly sentence: string;
}

/** Whether this page can reach meters by itself. An adapter that is off shows only when a meter is chosen. */
export function browserBluetooth(scope: PageScope = globalThis): BrowserBluetooth {
  if (scope.isSecureContext === false) {
    return {
      available: false,
      sentence:
        'This page was opened over plain http, where browsers give no Bluetooth. Open it on the computer itself at its 127.0.0.1 address, or over https.',
    };
  }
  if (!scope.navigator?.bluetooth) {
    return {
      available: false,
      sentence:
        'This browser has no Web Bluetooth. Use Chrome or Edge on Windows, macOS, ChromeOS or Android (on Linux it has to be switched on in the browser), or use the server\u2019s own adapter.',
    };
  }
  return { available: true, sentence: '' };
}
