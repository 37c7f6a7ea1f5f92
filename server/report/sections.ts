import { durationText } from '../messages/figures.ts';
import { describeFindings } from '../messages/sentences.ts';
import { timeText } from './about.ts';
import { LIMITS_OF_A_SEAL } from './cautions.ts';
import { circuitsSection } from './circuits.ts';
import type { ReportInput } from './input.ts';
import { checklistSection, measuredSection } from './instruments.ts';
import type { Section } from './model.ts';
import { triesSection } from './tries.ts';

const TOPICS = {
  recording: 'Recording',
  sleep: 'Going to sleep',
  polling: 'Polling',
  'wake-ups': 'Wake-ups',
  draw: 'Draw',
  battery: 'Battery',
} as const;

/** What the workshop's report says beyond its figures and its chart. */
export function workshopSections(input: ReportInput): Section[] {
  const { findings, events } = input;
  const said = describeFindings(findings);
  const topics = (Object.keys(TOPICS) as (keyof typeof TOPICS)[]).map((topic) => ({
    name: TOPICS[topic],
    text: said
      .filter((s) => s.topic === topic)
      .map((s) => s.text)
      .join(' '),
  }));
  const flags = findings.flags.map((f) => [f.summary, ...f.because, f.next ?? ''].filter(Boolean).join(' '));
  return [
    {
      title: 'Findings',
      paragraphs: ['Each figure carries its expanded uncertainty (k = 2, about 95 %; JCGM 100:2008).'],
      facts: topics.filter((t) => t.text !== '').map((t) => [t.name, t.text]),
      bullets: flags,
    },
    triesSection(input),
    circuitsSection(input),
    measuredSection(input),
    checklistSection(input),
    notesSection(input),
    {
      title: 'Log',
      paragraphs: [],
      facts: events.slice(0, 60).map((e) => [durationText(e.atMs / 1000), `${e.kind}: ${e.text}`]),
      bullets: events.length > 60 ? [`${events.length - 60} more entries are in the sealed bundle.`] : [],
    },
  ];
}

function notesSection({ notes, recording }: ReportInput): Section {
  return {
    title: 'Notes',
    paragraphs: [],
    facts: notes.map((n) => [timeText(n.addedAt, recording.zone), n.text]),
    bullets: [],
  };
}

/** What nobody may read into the report. */
export function notTested({ findings: f, tries, fuses }: ReportInput): Section {
  const quantities = f.recording.channels.map((c) => c.quantity);
  const bullets = [
    'The battery was not load-tested; state of charge comes from the rest voltage.',
    ...(quantities.includes('current') ? [] : ['No current was recorded: nothing is said about the draw.']),
    ...(quantities.includes('voltage')
      ? []
      : ['No voltage was recorded: nothing is said about the battery.']),
    ...(fuses !== null && fuses.lines.length > 0
      ? []
      : ['Which circuit draws the current was not measured here.']),
    ...(tries !== null && tries.attempts.length > 0
      ? []
      : ['Passive entry itself was not tried; the threshold is not one measured on this car.']),
    'One night was recorded; other nights and other temperatures may differ.',
  ];
  return { title: 'What was not tested', paragraphs: [], facts: [], bullets };
}

export function sealSection({ seal }: ReportInput): Section[] {
  if (seal === null) return [];
  const { bundle } = seal;
  const facts = [
    ['Signing key', seal.key],
    ...(seal.root === null ? [] : [['Root of the sealed blocks', seal.root]]),
    [
      'Sealed bundle',
      bundle === 'this'
        ? 'this report lies in it; its statement names the same root'
        : bundle === null
          ? 'none was made yet'
          : `SHA-256 ${bundle.sha256}, made ${bundle.at.slice(0, 16).replace('T', ' ')} UTC`,
    ],
  ];
  return [{ title: 'Seal', paragraphs: [LIMITS_OF_A_SEAL], facts, bullets: [] }];
}
