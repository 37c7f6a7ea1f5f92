import { expect, test } from 'vitest';
import { browserBluetooth } from '../../drivers/links/browser/support.ts';

const bluetooth = {} as Bluetooth;

test('a browser with Web Bluetooth in a secure page can be used', () => {
  expect(browserBluetooth({ isSecureContext: true, navigator: { bluetooth } })).toEqual({
    available: true,
    sentence: '',
  });
});

test('each reason for doing without has its own sentence, which says what to do', () => {
  const none = browserBluetooth({ isSecureContext: true, navigator: {} });
  const insecure = browserBluetooth({ isSecureContext: false, navigator: {} });
  expect(none).toMatchObject({
    available: false,
    sentence: expect.stringMatching(/Chrome or Edge/) as unknown,
  });
  expect(insecure).toMatchObject({ available: false, sentence: expect.stringMatching(/https/) as unknown });
});
