import type { SealState } from '../messages/seal.ts';
import type { Store } from '../store/store.ts';
import { lastHeadOf, logFile, readLog } from './headLog.ts';
import { issuedBundles } from './issued.ts';
import { fingerprintIn } from './keyFile.ts';
import { nightBlocks } from './nightBlocks.ts';
import { faultsOfLog } from './sealNight.ts';

/** Whether a recording is still what was sealed while it was recorded. @throws NightdrawError not-found */
export function sealStateOf(store: Store, recordingId: string, data: string): SealState {
  const log = readLog(logFile(data, recordingId));
  const { faults } = nightBlocks(store, recordingId, log);
  return {
    key: fingerprintIn(data),
    heads: log.heads.length,
    lastHeadAt: lastHeadOf(log)?.at ?? null,
    faults: [...faults, ...faultsOfLog(data, recordingId)],
    bundles: issuedBundles(data, recordingId),
  };
}
