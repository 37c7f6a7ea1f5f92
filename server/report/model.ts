import { verdictOf, type Verdict } from '../messages/sentences.ts';
import { aboutRows, figureRows } from './about.ts';
import { CAUTIONS } from './cautions.ts';
import { curvesOf } from './curves.ts';
import type { Reader, ReportInput, ReportPhoto } from './input.ts';
import { marksOf, type ReportMark } from './marks.ts';
import { notTested, sealSection, workshopSections } from './sections.ts';

/** A line of highs and lows over the night. */
export interface Curve {
  readonly label: string;
  readonly unit: 'A' | 'V' | 'degC';
  readonly t: readonly number[];
  readonly min: readonly number[];
  readonly max: readonly number[];
  /** Top of the scale where the highest peaks are cut off, so that what lies below can be read; else null. */
  readonly cutAt: number | null;
}

export type Table = readonly (readonly string[])[];

export interface Section {
  readonly title: string;
  readonly paragraphs: readonly string[];
  /** Rows of name and text. */
  readonly facts: Table;
  readonly bullets: readonly string[];
}

export interface ReportModel {
  readonly reader: Reader;
  readonly title: string;
  readonly subject: string;
  readonly madeAt: string;
  readonly version: string;
  readonly verdict: Verdict;
  readonly about: Table;
  readonly figures: Table;
  readonly durationS: number;
  readonly startedAt: string | null;
  readonly zone: string | null;
  readonly curves: readonly Curve[];
  readonly thresholdV: number;
  readonly marks: readonly ReportMark[];
  readonly sections: readonly Section[];
  readonly photos: readonly ReportPhoto[];
}

/** Everything that a report says, in the order in which it says it. */
export function reportModel(input: ReportInput, reader: Reader): ReportModel {
  const { recording, findings, events } = input;
  const about = input.case?.title ?? recording.title;
  const sections = [
    ...(reader === 'workshop' ? workshopSections(input) : []),
    notTested(input),
    { title: 'Cautions', paragraphs: [], facts: [], bullets: CAUTIONS },
    ...sealSection(input),
  ].filter((s) => s.paragraphs.length + s.facts.length + s.bullets.length > 0);
  return {
    reader,
    title: 'Overnight battery report',
    subject: about === '' ? recording.id : about,
    madeAt: input.madeAt,
    version: input.version,
    verdict: verdictOf(findings),
    about: aboutRows(input),
    figures: figureRows(findings),
    durationS: recording.durationMs / 1000,
    startedAt: recording.startedAt,
    zone: recording.zone,
    curves: curvesOf(input, reader),
    thresholdV: findings.battery.thresholdV,
    marks: marksOf(findings, events, input.gaps, recording.durationMs / 1000),
    sections: reader === 'workshop' ? sections : sections.map(shortened),
    photos: reader === 'workshop' ? input.photos : [],
  };
}

function shortened(section: Section): Section {
  return { ...section, bullets: section.bullets.slice(0, 4) };
}
