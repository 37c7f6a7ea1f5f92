import { withoutWords } from '../evidence/attachments.ts';
import { withoutTexts } from '../evidence/bundle.ts';
import { rootOf } from '../evidence/merkle.ts';
import { hex, unhex, utf8 } from '../evidence/octets.ts';
import { fingerprintOf, fingerprintText } from '../evidence/signing.ts';
import type { Members } from '../evidence/zip.ts';
import { reportCsv } from '../report/csv.ts';
import { reportHtml } from '../report/html.ts';
import { CHART_PARTS } from '../report/curves.ts';
import type { Reader, ReportInput } from '../report/input.ts';
import { reportModel, type ReportModel } from '../report/model.ts';
import { reportPdf } from '../report/pdf.ts';
import type { Paper } from '../report/pdfSheet.ts';
import type { Store } from '../store/store.ts';
import { nodeChecker } from './checker.ts';
import { dossierOf, type Dossier } from './dossier.ts';
import { logFile, readLog } from './headLog.ts';
import { issuedBundles, noteIssued } from './issued.ts';
import { nightBlocks, type NightBlocks } from './nightBlocks.ts';
import { wideFontsFor } from './pdfFonts.ts';
import type { ReportFormat } from './reportFormats.ts';
import { sealable, sealNight, type SealOptions } from './sealNight.ts';

export interface ReportOptions extends Pick<SealOptions, 'data' | 'signer' | 'version'> {
  readonly madeAt: string;
  readonly reader: Reader;
  /** Leaves out whatever names the car or a person. */
  readonly anonymous?: boolean;
  readonly withoutPhotos?: boolean;
  /** Whether it goes into a bundle, and so cannot name that bundle's own digest. */
  readonly isInBundle?: boolean;
}

/** The report of a stored recording. @throws NightdrawError not-found */
export function reportOfNight(
  store: Store,
  recordingId: string,
  options: ReportOptions,
  dossier: Dossier = dossierOf(store, recordingId),
  blocks: NightBlocks = nightBlocks(store, recordingId, readLog(logFile(options.data, recordingId))),
): ReportModel {
  const { recording, attachments } = dossier;
  const night: ReportInput = {
    ...dossier,
    extremes: store.zoom(
      recording.channels.map((c) => c.id),
      0,
      recording.durationMs,
      CHART_PARTS,
    ),
    meters: attachments.meters,
    zeroChecks: attachments.zeroChecks,
    tries: attachments.attempts,
    fuses: attachments.circuits,
    checklist: attachments.checklist,
    photos: options.withoutPhotos === true ? [] : attachments.photos,
    notes: attachments.notes,
    version: options.version,
    madeAt: options.madeAt,
    seal: {
      key: fingerprintText(fingerprintOf(options.signer.publicKey, nodeChecker.sha256)),
      root: rootOfLeaves(blocks.leaves),
      bundle:
        options.isInBundle === true ? 'this' : (issuedBundles(options.data, recordingId).at(-1) ?? null),
    },
  };
  return reportModel(options.anonymous === true ? withoutNames(night) : night, options.reader);
}

/** The report as the octets of a file; only a PDF has a paper. */
export async function renderReport(
  model: ReportModel,
  format: ReportFormat,
  paper: Paper,
): Promise<Uint8Array> {
  if (format === 'pdf') return reportPdf(model, paper, wideFontsFor(model));
  return utf8(format === 'html' ? reportHtml(model) : reportCsv(model));
}

function rootOfLeaves(leaves: NightBlocks['leaves']): string {
  return hex(
    rootOf(
      leaves.map((leaf) => unhex(leaf.hash)),
      nodeChecker.sha256,
    ),
  );
}

function withoutNames(night: ReportInput): ReportInput {
  const { recording } = night;
  return {
    ...night,
    case: null,
    tries: night.tries === null ? null : withoutWords(night.tries),
    fuses: null,
    notes: [],
    photos: night.photos.map((photo) => ({ ...photo, caption: '' })),
    recording: {
      ...recording,
      title: '',
      provenance: '',
      channels: recording.channels.map((c) => (c.meterKey.startsWith('file:') ? { ...c, meterName: '' } : c)),
    },
    events: withoutTexts({ events: [...night.events], gaps: [] }).events,
  };
}

/**
 * Writes the sealed bundle with the workshop's report in it, as HTML and PDF; it is noted that it was made.
 * @throws as `sealNight`
 */
export async function sealWithReport(
  store: Store,
  recordingId: string,
  options: SealOptions,
  write: (octets: Uint8Array) => void,
): Promise<void> {
  // First, so that what may not be sealed is refused before it is analysed.
  const night = sealable(store, recordingId, options.data);
  const dossier = dossierOf(store, recordingId);
  const inBundle = {
    ...options,
    madeAt: options.sealedAt,
    reader: 'workshop' as const,
    anonymous: options.without.includes('identity'),
    withoutPhotos: options.without.includes('photos'),
    isInBundle: true,
  };
  const model = reportOfNight(store, recordingId, inBundle, dossier, night);
  const reports: Members = new Map([
    ['report.html', utf8(reportHtml(model))],
    ['report.pdf', await reportPdf(model, 'a4', wideFontsFor(model))],
  ]);
  const extras = new Map([...(options.extras ?? []), ...reports]);
  const sha256 = sealNight(store, recordingId, { ...options, extras }, write, night, dossier);
  noteIssued(options.data, recordingId, { at: options.sealedAt, sha256, without: [...options.without] });
}
